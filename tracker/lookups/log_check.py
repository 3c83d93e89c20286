"""Whether the log is whole: no number missing, and every standing and tag what its events add up to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby, islice

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from labels import payload
from tracker.domain import tag
from tracker.domain.custody import fold
from tracker.errors import TrackerError
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow, Undone, as_event, projection
from tracker.storage.tags import Tag, TagContest

# Whoever mends a season begins with the first; a thousand sentences help nobody.
MOST_FAULTS = 20
_AT_A_TIME, _SAMPLES = 2000, 200
# What a row that was written past the steps can bring: a kind or a part of it that is not there.
_UNREADABLE = (KeyError, TypeError, ValueError, AttributeError)


@dataclass(frozen=True)
class LogCheck:
    """How much was looked at, and a sentence for each thing that is wrong, the first twenty."""

    events: int
    samples: int
    tags: int
    faults: tuple[str, ...]

    @property
    def whole(self) -> bool:
        return not self.faults


def check_log(session: Session) -> LogCheck:
    """Look through the whole log. It proves that the season agrees with itself, not who wrote it."""
    faults = islice(_faults(session), MOST_FAULTS)
    return LogCheck(
        _count(session, EventRow), _count(session, StandingRow), _count(session, Tag), tuple(faults)
    )


def _count(session: Session, table: type[EventRow] | type[StandingRow] | type[Tag]) -> int:
    return session.scalar(select(func.count()).select_from(table)) or 0


def _faults(session: Session) -> Iterator[str]:
    yield from _holes(session)
    yield from _standings(session)
    yield from _tags(session)
    yield from _taken_back(session)


def _holes(session: Session) -> Iterator[str]:
    first = session.scalar(select(func.min(EventRow.seq)))
    if first is None:
        return
    if first != 1:
        yield f"The log begins with event {first}: those before are missing."
    following = aliased(EventRow)
    last = session.scalar(select(func.max(EventRow.seq)))
    before_a_hole = select(EventRow.seq).where(
        EventRow.seq != last, ~select(following.seq).where(following.seq == EventRow.seq + 1).exists()
    )
    for seq in session.scalars(before_a_hole.order_by(EventRow.seq)):
        yield f"Event {seq + 1} is missing from the log."


def _standings(session: Session) -> Iterator[str]:
    last = session.scalar(select(func.max(Sample.id))) or 0
    # So many at a time, that a large season need not be in memory.
    for first in range(1, last + 1, _SAMPLES):
        yield from _standings_between(session, first, first + _SAMPLES - 1)


def _standings_between(session: Session, first: int, last: int) -> Iterator[str]:
    some = select(StandingRow).where(StandingRow.sample_id.between(first, last))
    kept = {row.sample_id: row for row in session.scalars(some)}
    of_samples = (
        select(EventRow)
        .where(EventRow.sample_id.between(first, last))
        .order_by(EventRow.sample_id, EventRow.seq)
    )
    for sample, rows in groupby(session.scalars(of_samples), key=lambda row: row.sample_id):
        row = kept.pop(sample, None)
        if row is None:
            yield f"Sample {sample} has events and no standing."
            continue
        try:
            wanted = projection(fold([as_event(event) for event in rows]))
        except _UNREADABLE as fault:
            yield f"The events of sample {sample} cannot be added up: {fault!r}."
            continue
        wrong = [name for name, value in wanted.items() if getattr(row, name) != value]
        if wrong:
            yield f"Sample {sample} stands otherwise than its events say: {', '.join(wrong)}."
    for sample in kept:
        yield f"Sample {sample} stands somewhere without any event."


def _tags(session: Session) -> Iterator[str]:
    lives = (
        select(EventRow.tag_id, EventRow.kind)
        .where(EventRow.kind.in_(tag.KINDS))
        .order_by(EventRow.tag_id, EventRow.seq)
        .execution_options(yield_per=_AT_A_TIME)
    )
    states: dict[int, str] = {}
    for number, life in groupby(session.execute(lives), key=lambda row: row.tag_id):
        try:
            states[number] = _state_after([kind for _, kind in life])
        except TrackerError as fault:
            yield f"The events of tag {number} do not follow from one another: {fault.message}"
    for number, code, state in session.execute(select(Tag.id, Tag.code, Tag.state)):
        if states.get(number) != state:
            yield f"Tag {payload.shown(code)} is {state}, and its events say {states.get(number, 'nothing')}."
    yield from _names_of_bags(session)


def _state_after(kinds: list[str]) -> str:
    state = tag.PRINTED
    for kind in kinds:
        state = tag.after(state, kind, code="it")
    return state


def _names_of_bags(session: Session) -> Iterator[str]:
    of_tags = session.execute(select(Tag.code, Tag.sample_id).where(Tag.state == tag.BOUND))
    bound = {row.code: row.sample_id for row in of_tags}
    # Two bags with one tag both go by it until somebody has decided.
    contests = select(Tag.code, TagContest.sample_id).join(Tag, Tag.id == TagContest.tag_id)
    contested = {(row.code, row.sample_id) for row in session.execute(contests)}
    named = set()
    for row in session.scalars(select(StandingRow).where(StandingRow.code.is_not(None))):
        code = str(row.code)
        if bound.get(code) == row.sample_id:
            named.add(code)
        elif (code, row.sample_id) not in contested:
            yield f"Sample {row.sample_id} goes by tag {payload.shown(code)}, which is not bound to it."
    for code in bound.keys() - named:
        yield f"Tag {payload.shown(code)} is bound to a sample that goes by another."


def _taken_back(session: Session) -> Iterator[str]:
    said = {
        str(data["target"]): event_id
        for event_id, data in session.execute(
            select(EventRow.event_id, EventRow.data).where(EventRow.kind == "undone")
        )
    }
    kept = {row.event_id: row.by_event_id for row in session.scalars(select(Undone))}
    for target in sorted(said.keys() ^ kept.keys()):
        yield f"Whether entry {target} was taken back is told in two ways."
