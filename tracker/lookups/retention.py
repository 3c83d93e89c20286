"""What has been kept long enough, kind by kind, and what is to be done about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.retention import DATA, KINDS, RESTS, due_before
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.custody import StandingRow
from tracker.storage.disposal import due_rows
from tracker.storage.kept import practice_in_force
from tracker.storage.results import ReportVersion

# From when on only the rest of a sample is left.
_RESTS = ("reported", "archived")


@dataclass(frozen=True)
class Kept:
    """One kind of record. days: how long it is kept, None for as long as the season; due: how many are over that.

    samples: whose hay is to be thrown away first, by code; rests_page goes on with the others.
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
        if kind.name == RESTS:
            due = session.scalar(_rests(before, func.count())) or 0
            samples = tuple(one.code for one in rests_page(session, now).items)
        else:
            due, samples = _rows(session, kind.name, before), ()
        days = None if kind.rule is None else int(practice.number(kind.rule))
        found.append(Kept(kind.name, kind.holds, days, before, due, samples, _act(kind.name)))
    return tuple(found)


@dataclass(frozen=True)
class Rest:
    """A sample of which only ground hay is left, to be thrown away; since: when the last was done to it."""

    code: str
    since: datetime


def rests_page(session: Session, now: datetime, after: Key = (), limit: int = USUAL) -> Page[Rest]:
    """What hay is to be thrown away, the longest kept first, a page of it. Raises Refused `not-a-cursor`."""
    before = due_before(KINDS[RESTS], practice_in_force(session), now)
    wanted = _rests(before, StandingRow.code, StandingRow.last_at)
    return page_of(session, wanted, [StandingRow.last_at, StandingRow.sample_id], Rest, after, limit)


def _rests(before: date | None, *what: Any) -> Any:
    reported = select(ReportVersion.id).where(ReportVersion.sample_id == StandingRow.sample_id)
    return select(*what).where(
        StandingRow.state.in_(_RESTS),
        StandingRow.last_at < datetime.combine(before or date.min, time(), UTC),
        StandingRow.code.is_not(None),
        reported.exists(),
    )


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
