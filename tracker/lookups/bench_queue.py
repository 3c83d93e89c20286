"""What waits where, and for how long."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, func, select, union_all
from sqlalchemy.orm import Session, aliased

from labels import payload
from tracker.domain.custody import ENDED
from tracker.domain.way import DECISION, GOES_ON, WAITING, states_that_wait, waits_for
from tracker.lookups.page import USUAL, Key, Page, rows_of
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names


@dataclass(frozen=True)
class Waiting:
    """One sample and what it waits for; since: the last thing that happened to it, UTC."""

    waits_for: str
    code: str | None
    lot: int
    producer: str
    field: str
    cutting: int
    state: str
    holder: str | None
    since: datetime
    hold: str | None


def waiting(
    session: Session, what: Collection[str] = WAITING, most: int | None = None
) -> tuple[Waiting, ...]:
    """What waits for one of these, in the order of the way and the longest wait first.

    what: some of domain.way.WAITING; most: only so many that wait longest.
    """
    names = party_names(session)
    rows = session.execute(_candidates(what).order_by(StandingRow.last_at, StandingRow.sample_id).limit(most))
    found = [one for row in rows if (one := _waiting(names, *row)) is not None]
    return tuple(sorted(found, key=lambda one: WAITING.index(one.waits_for)))


def how_many_wait(session: Session) -> dict[str, int]:
    """How many wait for what; nothing is said of what nobody waits for."""
    held = StandingRow.hold.is_not(None)
    counted = select(StandingRow.state, held, func.count()).where(_waits(WAITING))
    found: Counter[str] = Counter()
    for state, on_hold, count in session.execute(counted.group_by(StandingRow.state, held)):
        found[waits_for(state, "on hold" if on_hold else None) or ""] += count
    return dict(found)


def waiting_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[Waiting]:
    """The same by the samples' numbers, a page of them. Raises Refused `not-a-cursor`."""
    names = party_names(session)
    rows, following = rows_of(session, _candidates(WAITING), [StandingRow.sample_id], after, limit)
    found = (_waiting(names, *row) for row in rows)
    return Page(tuple(one for one in found if one is not None), following)


def _candidates(what: Collection[str]) -> Any:
    return (
        select(StandingRow, Lot, Field, Producer)
        .join(Sample, Sample.id == StandingRow.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(_waits(what))
    )


def _waits(what: Collection[str]) -> ColumnElement[bool]:
    """As domain.way.waits_for; by two indexes, so that what is done and over is not looked at."""
    one = aliased(StandingRow)
    held = one.hold.is_not(None)
    found = select(one.sample_id).where(one.state.in_(states_that_wait(what)), ~held | one.state.in_(GOES_ON))
    undecided = select(one.sample_id).where(held, one.state.not_in([*ENDED, *GOES_ON]))
    return StandingRow.sample_id.in_(union_all(found, undecided) if DECISION in what else found)


def _waiting(
    names: dict[str, str], standing: StandingRow, lot: Lot, field: Field, producer: Producer
) -> Waiting | None:
    what = waits_for(standing.state, standing.hold)
    if what is None:
        return None
    holder = standing.transfer_to or standing.holder
    return Waiting(
        waits_for=what,
        code=payload.shown(standing.code) if standing.code else None,
        lot=lot.id,
        producer=producer.name,
        field=field.name,
        cutting=lot.cutting,
        state=standing.state,
        holder=names.get(holder) if holder else None,
        since=standing.last_at,
        hold=standing.hold,
    )
