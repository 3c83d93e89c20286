"""People, places and events of invented samples, for the tests of the domain."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta, timezone
from typing import Any

from tracker.domain.custody import Event, Party

CDT = timezone(timedelta(hours=-5))
MORNING = datetime(2026, 6, 15, 9, 0, tzinfo=CDT)

ROSA = Party("rosa", "Rosa Quiroga", role="technician")
TOBIAS = Party("tobias", "Tobias Lund", role="technician")
CLERK = Party("ines", "Ines Marsh", role="clerk")
ANALYST = Party("amos", "Amos Reddy", role="analyst")
LEAD = Party("lena", "Lena Okafor", role="lead")
# Has no role in the programme and no business with the bag.
STRANGER = Party("piet", "Piet Vos")
CARRIER = Party("vanline", "Van Line Parcels", kind="carrier")
LOCKER = Party("locker", "the sample locker", kind="place", secure=True)
SHELF = Party("shelf", "the shelf by the door", kind="place")
EVERYONE = (ROSA, TOBIAS, CLERK, ANALYST, LEAD, STRANGER)
NAMES = {party.key: party.name for party in (*EVERYONE, CARRIER, LOCKER, SHELF)}

# What the data of each kind must hold at least, with likely values.
LEAST: Mapping[str, Mapping[str, Any]] = {
    "plan issued": {"plan": 1},
    "cancelled": {"reason": "sold before sampling"},
    "cored": {"cores_taken": 20, "entry": "side"},
    "bagged": {"code": "7K2M9QXQ"},
    "tag replaced": {"code": "T0MARVYY", "old_code": "7K2M9QXQ", "reason": "torn"},
    "tag settled": {"code": "T0MARVYY", "old_code": "7K2M9QXQ", "reason": "the bags were compared"},
    "noted": {"words": "the gate was open"},
    "sealed": {"seal": "S-004417"},
    "relinquished": {"to": CLERK.as_data()},
    "received": {"condition": ["dry"]},
    "transfer refused": {"reason": "wrong bag"},
    "transfer cancelled": {"reason": "desk closed"},
    "stored": {"place": LOCKER.as_data()},
    "taken out": {},
    "seal broken": {"seal_read": "S-004417"},
    "tare weighed": {"grams": "14.2"},
    "fresh weighed": {"grams": "250.0"},
    "oven in": {"load": "L-1"},
    "oven out": {"load": "L-1"},
    "dry weighed": {"grams": "232.5"},
    "dry weighed again": {"grams": "232.4"},
    "coarse ground": {"screen_mm": "2"},
    "fine ground": {"screen_mm": "1"},
    "scanned": {"analysis": "scan-1"},
    "analysed outside": {"analysis": "wet-1"},
    "analysis chosen": {"analysis": "scan-1", "reason": "the second had drifted"},
    "reported": {"report": "R-1"},
    "amended": {"target": "e1", "changes": {"note": "spelt anew"}, "reason": "misread"},
    "undone": {"target": "e1"},
    "held": {"reason": "label unclear"},
    "hold lifted": {"reason": "label compared"},
    "archived": {"place": LOCKER.as_data()},
    "disposed": {"method": "composted"},
    "returned": {"reason": "asked for by the producer"},
    "lost": {"circumstances": "fell off the tailgate"},
}


def make_event(
    seq: int,
    kind: str,
    by: Party = ROSA,
    *,
    minute: int | None = None,
    heard: timedelta = timedelta(0),
    late_reason: str = "",
    **data: Any,
) -> Event:
    """Event number seq, by default seq minutes after nine, with the least data its kind needs."""
    at = MORNING + timedelta(minutes=seq if minute is None else minute)
    return Event(
        seq=seq,
        event_id=f"e{seq}",
        kind=kind,
        occurred_at=at,
        recorded_at=at + heard,
        by=by.key,
        role=by.role,
        data={**LEAST.get(kind, {}), **data},
        late_reason=late_reason,
    )


class Life:
    """A sample's events under way; each `then` comes a minute after the one before."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def then(self, kind: str, by: Party = ROSA, **more: Any) -> Life:
        self.events.append(make_event(len(self.events) + 1, kind, by, **more))
        return self

    def next(self, kind: str, by: Party = ROSA, **more: Any) -> Event:
        """The event that would come next, not added."""
        return make_event(len(self.events) + 1, kind, by, **more)


def bagged() -> Life:
    """Planned, cored and bagged by Rosa, who has the bag."""
    return Life().then("plan issued", LEAD).then("cored").then("bagged")


def signed_away() -> Life:
    """Rosa has signed the sealed bag away to the clerk."""
    return bagged().then("sealed").then("relinquished", to=CLERK.as_data())


def at_desk() -> Life:
    """The clerk has received it."""
    return signed_away().then("received", CLERK)


def dried() -> Life:
    """Weighed and dried by the analyst, on the clerk's behalf."""
    life = at_desk().then("tare weighed", ANALYST).then("fresh weighed", ANALYST)
    return life.then("oven in", ANALYST).then("oven out", ANALYST).then("dry weighed", ANALYST)


def scanned() -> Life:
    """Ground twice and scanned."""
    return dried().then("coarse ground", ANALYST).then("fine ground", ANALYST).then("scanned", ANALYST)
