"""What has been kept long enough, kind by kind, and what is to be done about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.custody import ENDED
from tracker.domain.retention import DATA, KINDS, RESTS, due_before
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.disposal import due_rows
from tracker.storage.kept import practice_in_force

# From when on only the rest of a sample is left.
_RESTS = ("reported", "archived")


@dataclass(frozen=True)
class Kept:
    """One kind of record. days: how long it is kept, None for as long as the season; due: how many are over that.

    samples: whose hay is to be thrown away, by code.
    """

    name: str
    holds: str
    days: int | None
    before: date | None
    due: int
    samples: tuple[str, ...]
    act: str


def kept(session: Session, now: datetime) -> tuple[Kept, ...]:
    """Every kind of record with what is due of it."""
    practice = practice_in_force(session)
    found = []
    for kind in KINDS.values():
        before = due_before(kind, practice, now)
        samples = _rests(session, before) if kind.name == RESTS and before else ()
        due = len(samples) if kind.name == RESTS else _rows(session, kind.name, before)
        days = None if kind.rule is None else int(practice.number(kind.rule))
        found.append(Kept(kind.name, kind.holds, days, before, due, samples, _act(kind.name)))
    return tuple(found)


def _rests(session: Session, before: date) -> tuple[str, ...]:
    start = datetime.combine(before, time(), UTC)
    reported = select(EventRow.sample_id).where(EventRow.kind == "reported")
    wanted = select(StandingRow.code).where(
        StandingRow.state.in_(_RESTS),
        StandingRow.state.not_in(ENDED),
        StandingRow.sample_id.in_(reported),
        StandingRow.last_at < start,
        StandingRow.code.is_not(None),
    )
    return tuple(str(code) for code in session.scalars(wanted.order_by(StandingRow.last_at)))


def _rows(session: Session, name: str, before: date | None) -> int:
    if name not in DATA or before is None:
        return 0
    return sum(
        session.scalar(select(func.count()).select_from(table).where(over)) or 0
        for table, over in due_rows(name, before)
    )


def _act(name: str) -> str:
    if name == RESTS:
        return "tracker dispose SAMPLE --method WORDS"
    return f"tracker dispose-data {name} --reason WORDS" if name in DATA else "–"
