"""Who has the sample, what has been done to it, and what may be done next.

A sample's life is a list of events that only grows. Nothing here changes an event: a standing is what the list
adds up to, and a correction is one more event that names the one it corrects. The states and the two-sided
hand-over follow the custody model of US EPA Region V (Manual of custody and non-custody sample handling, 1978:
in hand, in view, locked up, secured, or sealed) and ASTM D4840 (custody through every stage until disposal).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from tracker.domain.times import CLOCK_SKEW, LATE_AFTER

# Who may act for the laboratory on a sample that a colleague, or a locked place of the laboratory, holds.
LAB_ROLES = ("clerk", "analyst", "lead")
ROLES = ("technician", *LAB_ROLES)
PARTY_KINDS = ("person", "place", "carrier")

IN_FIELD = ("bagged", "sealed")
AT_LAB = (
    "received",
    "weighed",
    "in oven",
    "out of oven",
    "dried",
    "coarse ground",
    "ground",
    "scanned",
    "reported",
    "archived",
)
ENDED = ("cancelled", "disposed", "returned", "lost")
# A sack in a hot oven goes nowhere and cannot be signed away.
MOVABLE = (*IN_FIELD, *(state for state in AT_LAB if state != "in oven"))


@dataclass(frozen=True)
class Party:
    """A person, a place or a carrier that can hold a sample. secure: kept locked, so it can hold by itself."""

    key: str
    name: str
    kind: str = "person"
    role: str = ""
    secure: bool = False

    def as_data(self) -> dict[str, Any]:
        """The party as an event keeps it: what it was at that time, without its name."""
        return {"party": self.key, "kind": self.kind, "role": self.role, "secure": self.secure}


@dataclass(frozen=True)
class Act:
    """Who does something, when by their device, and when the office heard of it.

    event_id is made by the device, so that a doubled tap is one event; late_reason is required for an entry
    that belongs before others already recorded. origin: for an entry made in the field, what is kept of how it
    came (the phone, its clock, the paper); reach: how far such an entry may be moved to where it makes sense,
    None for as far as it takes.
    """

    by: Party
    at: datetime
    now: datetime
    device: str = "office"
    event_id: str | None = None
    late_reason: str = ""
    note: str = ""
    origin: Mapping[str, Any] = field(default_factory=dict)
    reach: timedelta | None = None

    @property
    def clock_doubted(self) -> bool:
        """Whether the device's clock runs so far ahead that its time cannot be true."""
        return self.at > self.now + CLOCK_SKEW

    @property
    def occurred_at(self) -> datetime:
        """The device's time, or the office's where that is earlier: what was heard of has happened."""
        return min(self.at, self.now.astimezone(self.at.tzinfo))


@dataclass(frozen=True)
class Event:
    """One thing that happened to a sample; data holds plain JSON values, numbers as text with their digits."""

    seq: int
    event_id: str
    kind: str
    occurred_at: datetime
    recorded_at: datetime
    by: str
    role: str
    data: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    late_reason: str = ""
    clock_doubted: bool = False
    device: str = "office"
    amended: tuple[Event, ...] = ()
    undone: bool = False

    @property
    def late(self) -> bool:
        """Whether the office heard of it more than a day after it happened, or out of order."""
        return bool(self.late_reason) or self.recorded_at - self.occurred_at > LATE_AFTER


@dataclass(frozen=True)
class Kind:
    """When an event may happen (from which states), what state it leads to, who may record it, what it needs.

    to None leaves the state as it is; testing events wait while the sample is on hold.
    """

    frm: tuple[str, ...]
    to: str | None
    who: str
    needs: tuple[str, ...] = ()
    testing: bool = False


# Not between the fresh weight and the dry one: a report then would cut the drying short.
_WITH_RESULTS = tuple(state for state in AT_LAB if state not in ("weighed", "in oven", "out of oven"))
KINDS: dict[str, Kind] = {
    "plan issued": Kind(("none", "planned"), "planned", "anyone", ("plan",)),
    "cancelled": Kind(("none", "planned"), "cancelled", "anyone", ("reason",)),
    "cored": Kind(("planned",), "cored", "anyone", ("cores_taken", "entry")),
    "bagged": Kind(("cored",), "bagged", "anyone", ("code",)),
    "tag replaced": Kind((*IN_FIELD, *AT_LAB), None, "holder", ("code", "old_code", "reason")),
    "tag settled": Kind((*IN_FIELD, *AT_LAB, "in transfer"), None, "anyone", ("code", "reason")),
    "sealed": Kind(IN_FIELD, "sealed", "holder", ("seal",)),
    "relinquished": Kind(MOVABLE, "in transfer", "holder", ("to",)),
    "received": Kind(("in transfer", *IN_FIELD, *AT_LAB), "received", "receiver"),
    "transfer refused": Kind(("in transfer",), None, "receiver", ("reason",)),
    "transfer cancelled": Kind(("in transfer",), None, "holder", ("reason",)),
    "stored": Kind(MOVABLE, None, "holder", ("place",)),
    "taken out": Kind(MOVABLE, None, "taker"),
    "seal broken": Kind(("received",), None, "holder", ("seal_read",)),
    "tare weighed": Kind(("received", "weighed"), None, "holder", ("grams",)),
    "fresh weighed": Kind(("received", "weighed"), "weighed", "holder", ("grams",), testing=True),
    "oven in": Kind(("weighed", "out of oven", "dried"), "in oven", "holder", ("load",), testing=True),
    "oven out": Kind(("in oven",), "out of oven", "holder", ("load",)),
    "dry weighed": Kind(("out of oven", "dried"), "dried", "holder", ("grams",)),
    "dry weighed again": Kind(("dried", "coarse ground"), None, "holder", ("grams",)),
    "coarse ground": Kind(("received", "dried"), "coarse ground", "holder", ("screen_mm",), testing=True),
    "fine ground": Kind(("coarse ground",), "ground", "holder", ("screen_mm",), testing=True),
    "scanned": Kind(
        ("ground", "scanned", "reported", "archived"), "scanned", "holder", ("analysis",), testing=True
    ),
    "analysed outside": Kind((*AT_LAB, "in transfer"), None, "anyone", ("analysis",), testing=True),
    "analysis chosen": Kind(AT_LAB, None, "anyone", ("analysis", "reason")),
    "reported": Kind((*_WITH_RESULTS, "in transfer"), "reported", "anyone", ("report",), testing=True),
    "amended": Kind((), None, "anyone", ("target", "changes", "reason")),
    "undone": Kind((*IN_FIELD, *AT_LAB, "in transfer"), None, "anyone", ("target",)),
    "noted": Kind((), None, "anyone", ("words",)),
    "held": Kind((), None, "anyone", ("reason",)),
    "hold lifted": Kind((), None, "anyone", ("reason",)),
    "archived": Kind(("dried", "ground", "scanned", "reported"), "archived", "holder", ("place",)),
    "disposed": Kind(
        ("received", "ground", "scanned", "reported", "archived"), "disposed", "holder", ("method",)
    ),
    "returned": Kind(("received", "scanned", "reported", "archived"), "returned", "holder", ("reason",)),
    "lost": Kind((), "lost", "anyone", ("circumstances",)),
}


@dataclass(frozen=True)
class Holder:
    """Who had the sample, as they were at that time."""

    party: str
    kind: str = "person"
    role: str = ""
    secure: bool = False


@dataclass(frozen=True)
class Transfer:
    """A sample signed away and not yet signed for. by: who signed, where a colleague did it for the giver."""

    giver: Holder
    to: Holder
    since: datetime
    state_before: str
    by: str


@dataclass(frozen=True)
class Hold:
    """Why testing waits; seq is that of the event that put it on hold."""

    reason: str
    since: datetime
    by: str
    event_id: str
    seq: int


@dataclass(frozen=True)
class Standing:
    """What a sample's events add up to."""

    state: str = "none"
    holder: Holder | None = None
    transfer: Transfer | None = None
    holds: tuple[Hold, ...] = ()
    code: str | None = None
    seal: str | None = None
    analyses: tuple[str, ...] = ()
    last_at: datetime | None = None

    @property
    def on_hold(self) -> bool:
        return bool(self.holds)


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events as they happened; those of one instant as they were recorded."""
    return sorted(events, key=lambda event: (event.occurred_at, event.seq))


def corrected(events: Iterable[Event]) -> list[Event]:
    """The events as they happened, each with its latest corrections in its data and its originals in `amended`.

    The amendments themselves stay in the list: what was changed, by whom and why is part of the history. So does
    what was taken back at once, marked `undone`: it counts for nothing and is still told.
    """
    ordered = in_order(events)
    changes = [event for event in sorted(ordered, key=lambda event: event.seq) if event.kind == "amended"]
    by_id = {event.event_id: event for event in ordered}
    for change in changes:
        target = by_id.get(str(change.data["target"]))
        if target is not None:
            by_id[target.event_id] = replace(
                target,
                data={**target.data, **change.data["changes"]},
                amended=(*target.amended, replace(target, amended=())),
            )
    undone = {str(event.data["target"]) for event in ordered if event.kind == "undone"}
    found = (by_id[event.event_id] for event in ordered)
    return [replace(event, undone=True) if event.event_id in undone else event for event in found]


def that_count(events: Iterable[Event]) -> list[Event]:
    """The events as corrected, without what was taken back at once."""
    return [event for event in corrected(events) if not event.undone]


def fold(events: Iterable[Event]) -> Standing:
    """Where the sample stands after these events. Never refuses: what was once admitted is history."""
    standing = Standing()
    for event in corrected(events):
        standing = after(standing, event)
    return standing


def after(standing: Standing, event: Event) -> Standing:
    """Where the sample stands once this has happened. Checks nothing; see admission.check."""
    if event.undone:
        return standing
    kind = KINDS[event.kind]
    standing = replace(standing, last_at=max(filter(None, (standing.last_at, event.occurred_at))))
    me = Holder(event.by, "person", event.role)
    data = event.data
    if event.kind == "relinquished":
        giver = standing.holder or me
        transfer = Transfer(giver, _holder(data["to"]), event.occurred_at, standing.state, event.by)
        standing = replace(standing, state="in transfer", transfer=transfer)
    elif event.kind == "received":
        before = standing.transfer.state_before if standing.transfer else standing.state
        # Only the laboratory's receipt moves a bag on; between people in the field it stays what it was.
        state = "received" if before in IN_FIELD and event.role in LAB_ROLES else before
        standing = replace(standing, state=state, holder=me, transfer=None)
    elif event.kind in ("transfer refused", "transfer cancelled"):
        before = standing.transfer.state_before if standing.transfer else standing.state
        standing = replace(standing, state=before, transfer=None)
    elif event.kind in ("stored", "archived"):
        standing = replace(standing, holder=_holder(data["place"]))
    elif event.kind in ("taken out", "bagged"):
        standing = replace(standing, holder=me)
    elif event.kind == "hold lifted":
        # Nobody has decided about a hold that the office heard of only afterwards.
        return replace(standing, holds=tuple(hold for hold in standing.holds if hold.seq > event.seq))
    if event.kind in ("bagged", "tag replaced", "tag settled"):
        standing = replace(standing, code=str(data["code"]))
    if event.kind in ("sealed", "seal broken"):
        standing = replace(standing, seal=str(data["seal"]) if event.kind == "sealed" else None)
    if event.kind in ("scanned", "analysed outside"):
        standing = replace(standing, analyses=(*standing.analyses, str(data["analysis"])))
    if kind.to is not None and event.kind not in ("relinquished", "received"):
        standing = _moved_on(standing, kind.to)
    if event.kind == "held" or data.get("hold"):
        reason = str(data.get("hold") or data.get("reason"))
        standing = replace(
            standing,
            holds=(*standing.holds, Hold(reason, event.occurred_at, event.by, event.event_id, event.seq)),
        )
    return standing


def _moved_on(standing: Standing, state: str) -> Standing:
    # What was reported while signed away stays signed away; the state counts once somebody has it again.
    if standing.transfer is not None and state not in ENDED:
        return replace(standing, transfer=replace(standing.transfer, state_before=state))
    return replace(standing, state=state, transfer=None)


def _holder(data: Mapping[str, Any]) -> Holder:
    return Holder(
        str(data["party"]),
        str(data.get("kind", "person")),
        str(data.get("role", "")),
        bool(data.get("secure")),
    )
