"""The samples that rows of a file may be taken in for at once, read for hundreds of codes together."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from tracker.domain.custody import Holder
from tracker.domain.tag import BOUND
from tracker.storage.analysis import Analysis
from tracker.storage.bulk import among, listed, read_raw
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.log import LogNode
from tracker.storage.lots import Lot
from tracker.storage.tags import Tag, TagContest

# Who has the sample follows from the last of these; where a correction is among them, the whole life is read.
_HOLDING = ("bagged", "received", "stored", "taken out", "archived")
_TO_A_PLACE = ("stored", "archived")
_CORRECTIONS = ("amended", "undone")


class Plain(NamedTuple):
    """A sample that a row may be taken in for at once.

    state: where it will stand; last_at: when something happened to it last, as the driver has it; leaf: the hash of
    that in the log.
    """

    code: str
    sample: int
    lot: int
    forage: str
    state: str
    last_at: Any
    leaf: bytes | None


# The hash of the last event of a sample's life; a leaf's number is twice its place, which counts from 0.
_LAST = select(func.max(EventRow.seq)).where(EventRow.sample_id == Sample.id).correlate(Sample)
_LEAF = select(LogNode.hash).where(LogNode.number == 2 * _LAST.scalar_subquery() - 2).correlate(Sample)
_SAMPLES = (
    select(Tag.code, Sample.id, Sample.lot_id, Lot.forage, StandingRow.state, StandingRow.holder)
    .add_columns(StandingRow.last_at, _LEAF.scalar_subquery())
    .join(Sample, Sample.id == Tag.sample_id)
    .join(Lot, Lot.id == Sample.lot_id)
    .join(StandingRow, StandingRow.sample_id == Sample.id)
    .where(Tag.state == BOUND)
    .where(~select(TagContest.id).where(TagContest.tag_id == Tag.id).exists())
    .where(~select(Analysis.id).where(Analysis.sample_id == Sample.id).exists())
    .where(StandingRow.hold.is_(None), StandingRow.transfer_to.is_(None))
)
_HOLDERS = (
    select(EventRow.sample_id, EventRow.kind, EventRow.by, EventRow.role)
    .add_columns(case((EventRow.kind.in_(_TO_A_PLACE), EventRow.data), else_=""))
    .where(EventRow.kind.in_((*_HOLDING, *_CORRECTIONS)))
    .order_by(EventRow.occurred_at, EventRow.seq)
)


class PlainSamples:
    """Samples on one bag each, that nobody holds back or signed away and nobody has analysed yet."""

    def __init__(self, session: Session, then: Callable[[str, str, str, str, str], str | None]) -> None:
        """then: where a sample will stand that stands so and is held by this party, by the event as `holder_by`."""
        self.session = session
        self.then = then
        self._samples = _SAMPLES.where(among(session, Tag.code, "codes"))
        self._events = _HOLDERS.where(among(session, EventRow.sample_id, "samples"))

    def with_codes(self, codes: Sequence[str]) -> dict[str, Plain]:
        """Those that these codes are on, by code."""
        rows = read_raw(self.session, self._samples, codes=listed(self.session, codes))
        holders = self._holders([row[1] for row in rows])
        found = {}
        for code, sample, lot, forage, state, holder, last_at, leaf in rows:
            has_it = holders.get(sample)
            if has_it is None:
                continue
            then = self.then(state, holder, *has_it)
            # Where a rule is against it, the way of one row after another says why in full.
            if then is not None:
                found[code] = Plain(code, sample, lot, forage, then, last_at, leaf)
        return found

    def _holders(self, samples: Sequence[int]) -> dict[int, tuple[str, str, str]]:
        """By which event each of these samples came to who has it; one with a correction in its life is left out.

        By whom and in which role, and where it was brought to as the event's text, or nothing.
        """
        found: dict[int, tuple[str, str, str]] = {}
        corrected = set()
        for sample, kind, by, role, place in read_raw(
            self.session, self._events, samples=listed(self.session, samples)
        ):
            if kind in _CORRECTIONS:
                corrected.add(sample)
            else:
                found[sample] = by, role, place
        return {sample: event for sample, event in found.items() if sample not in corrected}


def holder_by(by: str, role: str, place: str) -> Holder:
    """Who has a sample after such an event, as they were then."""
    if not place:
        return Holder(by, "person", role)
    told = json.loads(place)["place"]
    return Holder(told["party"], told["kind"], told["role"], bool(told["secure"]))
