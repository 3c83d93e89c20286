"""What was refused in the year of the season, by reason."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.lookups.page import page_of
from tracker.lookups.programme.figure import Asked, Cells, Figure, Listing, Scope, listing
from tracker.storage.kept import KeptRefusal
from tracker.storage.people import party_names


def refusals(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Each reason with how often it was given, the commonest first."""
    wanted = (
        select(KeptRefusal.code, func.count())
        .where(*_in_year(scope))
        .group_by(KeptRefusal.code)
        .order_by(func.count().desc(), KeptRefusal.code)
    )
    return tuple(
        Figure(f"refused:{code}", code, count, "times" if count > 1 else "time")
        for code, count in session.execute(wanted)
    )


def refused(session: Session, scope: Scope, asked: Asked) -> Listing:
    """What was refused for this reason, the latest first."""
    names = party_names(session)

    def cells(row: KeptRefusal) -> Cells:
        return row.id, row.at, names.get(row.by, row.by), row.act, row.message, row.remedy

    wanted = select(KeptRefusal).where(KeptRefusal.code == asked.which, *_in_year(scope))
    page = page_of(session, wanted, [KeptRefusal.id], cells, asked.after, asked.limit, down=True)
    heading = ("No.", "When (UTC)", "Who", "Asked", "Why it was refused", "What to do")
    return listing(
        f"Refused: {asked.which}", "Kept as it was asked; nothing of it was recorded.", heading, page
    )


def _in_year(scope: Scope) -> tuple[Any, ...]:
    begins = datetime(scope.season, 1, 1, tzinfo=UTC)
    return (KeptRefusal.at >= begins, KeptRefusal.at < begins.replace(year=scope.season + 1))
