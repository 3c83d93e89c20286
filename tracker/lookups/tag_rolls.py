"""What became of every tag that was ever printed: printed = on bags + void + carried by somebody + in the office."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Party
from tracker.domain.tag import BOUND, ISSUED, PRINTED, VOID
from tracker.lookups.page import USUAL, Key, Page, rows_of
from tracker.storage.custody import EventRow, as_event
from tracker.storage.people import party, party_names
from tracker.storage.tags import PrintRun, Tag


@dataclass(frozen=True)
class Roll:
    """One print run, with how many of its tags are where; carried: by name, the codes that person has.

    reprinted: how many times one of its tags was printed again. The codes printed are still only `printed`.
    """

    run: int
    printed_at: datetime
    printed: int
    bound: int
    void: int
    in_office: int
    carried: dict[str, tuple[str, ...]]
    reprinted: int = 0

    @property
    def accounted(self) -> bool:
        """Whether every tag of the run is somewhere."""
        carried = sum(len(codes) for codes in self.carried.values())
        return self.printed == self.bound + self.void + self.in_office + carried


@dataclass(frozen=True)
class Stray:
    """A tag that one person was given and another put on a bag."""

    code: str
    issued_to: str
    bound_by: str


def rolls(session: Session) -> tuple[Roll, ...]:
    """Every print run, the oldest first."""
    return _rolls(session, session.scalars(_WITH_TAGS.order_by(PrintRun.id)).all())


def rolls_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Roll]:
    """The print runs, the oldest first, a page of them. Raises Refused `not-a-cursor`."""
    rows, following = rows_of(session, _WITH_TAGS, [PrintRun.id], after, limit)
    return Page(_rolls(session, [run for (run,) in rows]), following)


def latest_rolls(session: Session, before: int | None = None) -> Page[Roll]:
    """The latest print runs, the newest first. before: only runs of a lower number, as `next` of a page says."""
    wanted = _WITH_TAGS if before is None else _WITH_TAGS.where(PrintRun.id < before)
    found = session.scalars(wanted.order_by(PrintRun.id.desc()).limit(USUAL + 1)).all()
    shown = found[:USUAL]
    return Page(_rolls(session, shown[::-1])[::-1], (shown[-1].id,) if len(found) > USUAL else None)


# A run that printed an old code again has no tags of its own.
_WITH_TAGS = select(PrintRun).where(select(Tag.id).where(Tag.run_id == PrintRun.id).exists())


def _rolls(session: Session, runs: Sequence[PrintRun]) -> tuple[Roll, ...]:
    """The runs, which lie between the first and the last of them, with their tags counted by the database."""
    if not runs:
        return ()
    here = Tag.run_id.between(runs[0].id, runs[-1].id)
    counted = select(Tag.run_id, Tag.state, func.count()).where(here).group_by(Tag.run_id, Tag.state)
    states: dict[int, Counter[str]] = defaultdict(Counter)
    for run, state, count in session.execute(counted):
        states[run][state] = count
    reprinted = (
        select(Tag.run_id, func.count())
        .join(EventRow, EventRow.tag_id == Tag.id)
        .where(here, EventRow.kind == "tag reprinted")
        .group_by(Tag.run_id)
    )
    again = {row[0]: row[1] for row in session.execute(reprinted)}
    carried = _carried(session, here)
    return tuple(
        Roll(
            run=run.id,
            printed_at=run.printed_at,
            printed=states[run.id].total(),
            bound=states[run.id][BOUND],
            void=states[run.id][VOID],
            in_office=states[run.id][PRINTED],
            carried=carried.get(run.id, {}),
            reprinted=again.get(run.id, 0),
        )
        for run in runs
    )


def _carried(session: Session, here: ColumnElement[bool]) -> dict[int, dict[str, tuple[str, ...]]]:
    """By run and by name, the codes that somebody carries."""
    names = party_names(session)
    wanted = select(Tag.run_id, Tag.issued_to, Tag.code).where(here, Tag.state == ISSUED)
    found: dict[int, dict[str, tuple[str, ...]]] = defaultdict(dict)
    for run, to, code in session.execute(wanted.order_by(Tag.run_id, Tag.number)):
        name = names.get(to or "", "nobody named")
        found[run][name] = (*found[run].get(name, ()), payload.shown(code))
    return found


@dataclass(frozen=True)
class Carried:
    """The tags that one person was given on one day and has neither used, voided nor brought back."""

    person: str
    day: date
    codes: tuple[str, ...]


def carried_by_day(session: Session) -> tuple[Carried, ...]:
    """What everybody still carries, by person and by the day on which it was given out, the oldest first."""
    names = party_names(session)
    wanted = (
        select(Tag.code, Tag.issued_to, EventRow)
        .join(EventRow, EventRow.tag_id == Tag.id)
        .where(Tag.state == ISSUED, EventRow.kind == "tag issued")
        .order_by(EventRow.seq)
    )
    # Of a tag that was given out twice the last time counts.
    given = {code: (to, as_event(row).occurred_at.date()) for code, to, row in session.execute(wanted)}
    found: dict[tuple[str, date], tuple[str, ...]] = {}
    for code, (to, day) in given.items():
        key = (names.get(to or "", "nobody named"), day)
        found[key] = (*found.get(key, ()), payload.shown(code))
    return tuple(Carried(name, day, codes) for (name, day), codes in sorted(found.items()))


def party_keyed(session: Session, key: str) -> Party:
    """Who is to carry tags. Raises NotFound `unknown-party`."""
    return party(session, key, field="to")


def strays(session: Session) -> tuple[Stray, ...]:
    """The tags that somebody else used than the person who was given them."""
    names = party_names(session)
    wanted = (
        select(Tag.code, Tag.issued_to, EventRow.by)
        .join(EventRow, EventRow.tag_id == Tag.id)
        .where(EventRow.kind == "tag bound", Tag.issued_to.is_not(None), Tag.issued_to != EventRow.by)
        .order_by(EventRow.seq)
    )
    return tuple(
        Stray(payload.shown(code), names.get(given or "", ""), names.get(by, by))
        for code, given, by in session.execute(wanted)
    )
