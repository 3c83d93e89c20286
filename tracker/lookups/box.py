"""A box on the desk: which bags should be in it, which are, and what differs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.custody import IN_FIELD, LAB_ROLES, Event, fold
from tracker.errors import TrackerError
from tracker.lookups.bench_sack import BenchSack, bench_sack, sack_of
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow, events_of


@dataclass(frozen=True)
class Expected:
    """A bag on its way here: from whom (key and name), or the place it lies in, and under which waybill."""

    sack: BenchSack
    giver: str
    giver_name: str
    waybill: str


@dataclass(frozen=True)
class Found:
    """A code found in the box. sack is None and words say why where it names no bag.

    expected: it should be here. open: it has not been received yet.
    """

    code: str
    sack: BenchSack | None
    expected: bool
    open: bool
    words: str

    @property
    def shown(self) -> str:
        """The code as printed."""
        return payload.shown(self.code)


@dataclass(frozen=True)
class Box:
    """What should be in the box and what is; missing and extra are the differences."""

    expected: tuple[Expected, ...]
    found: tuple[Found, ...]

    @property
    def missing(self) -> tuple[Expected, ...]:
        """Expected and not found."""
        codes = {one.code for one in self.found}
        return tuple(one for one in self.expected if one.sack.code not in codes)

    @property
    def extra(self) -> tuple[Found, ...]:
        """Found and not expected, and not received at this desk either."""
        return tuple(one for one in self.found if not one.expected and (one.open or one.sack is None))

    @property
    def counted(self) -> dict[str, Any]:
        """What is kept with each bag of the box."""
        return {
            "expected": str(len(self.expected)),
            "found": str(len(self.found)),
            "missing": [one.sack.code for one in self.missing],
            "extra": [one.code for one in self.extra],
        }


def expected_bags(session: Session) -> tuple[Expected, ...]:
    """Every bag signed away to the laboratory or lying in a place, by code."""
    states = ["in transfer", *IN_FIELD]
    wanted = select(StandingRow).where(StandingRow.state.in_(states)).order_by(StandingRow.code)
    found = (_expected(session, row) for row in session.scalars(wanted).all())
    return tuple(one for one in found if one is not None)


def _expected(session: Session, row: StandingRow) -> Expected | None:
    events = events_of(session, row.sample_id)
    standing = fold(events)
    transfer, holder = standing.transfer, standing.holder
    sack = sack_of(session, session.get_one(Sample, row.sample_id))
    if transfer is not None:
        to = transfer.to
        here = transfer.state_before in IN_FIELD and (to.kind != "person" or to.role in LAB_ROLES)
        return Expected(sack, transfer.giver.party, sack.holder or "", _waybill(events)) if here else None
    if holder is not None and holder.kind == "place":
        return Expected(sack, holder.party, sack.holder or "", "")
    return None


def _waybill(events: Iterable[Event]) -> str:
    signed = [event for event in events if event.kind == "relinquished"]
    return str(signed[-1].data.get("waybill") or "") if signed else ""


def box_of(session: Session, codes: Sequence[str], *, giver: str = "", waybill: str = "") -> Box:
    """What this box holds against what should be in it; giver (a party's key) and waybill narrow what should."""
    everything = expected_bags(session)
    expected = tuple(
        one
        for one in everything
        if (not giver or one.giver == giver) and (not waybill or one.waybill == waybill)
    )
    due = {one.sack.code for one in expected}
    return Box(expected, tuple(_found(session, code, due) for code in dict.fromkeys(codes)))


def _found(session: Session, code: str, due: set[str]) -> Found:
    try:
        sack = bench_sack(session, code)
    except TrackerError as refused:
        return Found(code, None, False, False, f"{refused.message} {refused.remedy}")
    if sack.code in due:
        return Found(code, sack, True, True, "expected")
    if sack.next == "receive":
        words = (
            "nobody signed it away"
            if sack.unannounced
            else f"signed away to {sack.to or 'here'}, not in this list"
        )
        return Found(code, sack, False, True, words)
    return Found(code, sack, False, False, f"here already: {sack.state}")
