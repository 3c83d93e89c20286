"""The way: a sample's path from the stack to the answer as one line of stations, the picture everyone sees."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from tracker.domain.custody import ENDED, Event, Standing, fold, that_count

STATIONS = ("stack", "bag", "desk", "oven", "mill", "scan", "answer")

# The event that shows a station was reached, latest kind of the list first.
_REACHED = {
    "stack": ("cored",),
    "bag": ("bagged",),
    "desk": ("received",),
    "oven": ("dry weighed", "oven out", "oven in"),
    "mill": ("fine ground", "coarse ground"),
    "scan": ("scanned", "analysed outside"),
    "answer": ("reported",),
}
_HERE = {
    "none": "stack",
    "planned": "stack",
    "cored": "stack",
    "bagged": "bag",
    "sealed": "bag",
    "received": "desk",
    "weighed": "desk",
    "in oven": "oven",
    "out of oven": "oven",
    "dried": "oven",
    "coarse ground": "mill",
    "ground": "mill",
    "scanned": "scan",
    "reported": "answer",
}
_WAITS_FOR = {
    "planned": "coring",
    "cored": "a bag and its tag",
    "bagged": "hand-over",
    "sealed": "hand-over",
    "in transfer": "receipt",
    "received": "weighing in",
    "weighed": "the oven",
    "in oven": "the end of drying",
    "out of oven": "the dry weight",
    "dried": "the coarse grind",
    "coarse ground": "the fine grind",
    "ground": "the scan",
    "scanned": "release",
}

# What these wait for comes whatever is decided on their hold.
GOES_ON = ("in transfer", "in oven")


@dataclass(frozen=True)
class Station:
    """One stop: the word under it, when it was reached and by whom (party key); here: the sample is there now."""

    name: str
    word: str = ""
    at: datetime | None = None
    by: str = ""
    here: bool = False

    @property
    def reached(self) -> bool:
        return self.at is not None


def stations(events: Iterable[Event]) -> tuple[Station, ...]:
    """The seven stations in order, those reached with their word, time and person, nothing under the others."""
    ordered = that_count(events)
    standing = fold(ordered)
    here = here_now(standing)
    return tuple(_station(name, ordered, here, standing) for name in STATIONS)


def _station(name: str, ordered: list[Event], here: str | None, standing: Standing) -> Station:
    for kind in _REACHED[name]:
        found = [event for event in ordered if event.kind == kind]
        if found:
            last = found[-1]
            word = standing.state if name == here and standing.state != "reported" else kind
            return Station(name, word, last.occurred_at, last.by, name == here)
    return Station(name, standing.state if name == here else "", here=name == here)


def here_now(standing: Standing) -> str | None:
    """The station where the sample is; None once its way has ended."""
    if standing.state in ENDED:
        return None
    if standing.transfer is not None:
        return _HERE.get(standing.transfer.state_before, "bag")
    if standing.state == "archived":
        return "answer"
    return _HERE[standing.state]


def waits_for(state: str, hold: str | None = None) -> str | None:
    """What the next person has to do for a sample in this state; None when nothing is left."""
    if state in ENDED:
        return None
    return DECISION if hold and state not in GOES_ON else _WAITS_FOR.get(state)


DECISION = "a decision on its hold"
WAITING = (*dict.fromkeys(_WAITS_FOR.values()), DECISION)


def states_that_wait(what: Collection[str]) -> tuple[str, ...]:
    """The states in which a sample without a hold waits for one of these."""
    return tuple(state for state, thing in _WAITS_FOR.items() if thing in what)


def waits_so(*what: str) -> tuple[list[str], list[str]]:
    """The states in which a sample waits for one of these: of those that are not on hold, and of those that are."""
    on_hold = (
        state for state in (*_WAITS_FOR, "reported", "archived") if waits_for(state, "on hold") in what
    )
    return list(states_that_wait(what)), list(on_hold)
