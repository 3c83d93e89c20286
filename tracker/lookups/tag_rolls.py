"""What became of every tag that was ever printed: printed = on bags + void + carried by somebody + in the office."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import Party
from tracker.domain.tag import BOUND, ISSUED, PRINTED, VOID
from tracker.storage.custody import EventRow, as_event, reprints_of
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
    names = party_names(session)
    tags: dict[int, list[Tag]] = {}
    for tag in session.scalars(select(Tag).order_by(Tag.run_id, Tag.number)):
        tags.setdefault(tag.run_id, []).append(tag)
    runs = session.scalars(select(PrintRun).order_by(PrintRun.id)).all()
    # A run that printed an old code again has no tags of its own.
    again = reprints_of(session, [tag.id for printed in tags.values() for tag in printed])
    return tuple(_roll(run, tags[run.id], names, again) for run in runs if run.id in tags)


def _roll(run: PrintRun, tags: list[Tag], names: dict[str, str], again: Counter[int]) -> Roll:
    carried: dict[str, tuple[str, ...]] = {}
    for tag in tags:
        if tag.state == ISSUED:
            name = names.get(tag.issued_to or "", "nobody named")
            carried[name] = (*carried.get(name, ()), payload.shown(tag.code))
    states = [tag.state for tag in tags]
    return Roll(
        run=run.id,
        printed_at=run.printed_at,
        printed=len(tags),
        bound=states.count(BOUND),
        void=states.count(VOID),
        in_office=states.count(PRINTED),
        carried=carried,
        reprinted=sum(again[tag.id] for tag in tags),
    )


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
