"""Where a producer's hay stands, in words for him: ready, coming, waiting for a decision, or never to come.

No name of ours for a state is used here, and every sentence is short: tests hold them to a grade of reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.domain.custody import ENDED, LAB_ROLES, Event, Standing
from tracker.domain.turnaround import Expected

READY, COMING, WAITING, NEVER = "ready", "coming", "waiting", "never"


@dataclass(frozen=True)
class HayStanding:
    """kind: "ready", "coming", "waiting" or "never". words: what is; to_do: what the producer does, or nothing."""

    kind: str
    words: str
    to_do: str


_COMING = {
    "none": "This hay is not cored yet.",
    "planned": "This hay is not cored yet.",
    "cored": "The cores are taken. The bag is on its way to us.",
    "bagged": "The cores are taken. The bag is on its way to us.",
    "sealed": "The cores are taken. The bag is on its way to us.",
    "in transfer": "The bag is on its way.",
    "received": "We have the bag. It is dried next.",
    "weighed": "We have the bag. It is dried next.",
    "in oven": "Your sample is in the oven.",
    "out of oven": "Your sample is in the oven.",
    "dried": "Your sample is dry. It is ground next.",
    "coarse ground": "Your sample is being ground.",
    "ground": "Your sample is ground. It is tested next.",
    "scanned": "Your sample is tested. We check the numbers before you get them.",
    "archived": "Your sample is kept here. It was not tested to the end.",
}
_NEVER = {
    "lost": ("The sample is lost.", "The hay must be cored again. Call us, and we set a day."),
    "cancelled": ("The coring was called off.", "If you still want the test, call us."),
    "disposed": ("The sample is gone, and there is no report.", "The hay must be cored again. Call us."),
    "returned": ("The sample was given back without a report.", "Call us if you want the hay tested."),
}
_HELD = HayStanding(
    WAITING,
    "The work on this sample waits. Something is not clear, and we must decide about it first.",
    "You need not do anything now. If a week goes by, call us.",
)
_TURNED_AWAY = "Our desk did not take the bag."
_TURNED_AWAY_TO_DO = "Call us. We say if the bag can be saved, or if the hay must be cored again."


def hay_standing(events: Sequence[Event], standing: Standing, reported: bool) -> HayStanding:
    """Where the hay stands. events: corrected, none undone; reported: whether a report was issued."""
    if reported:
        words = "Your results are ready."
        if standing.holds:
            return HayStanding(READY, words, "We are looking at them again. A new report may follow.")
        return HayStanding(READY, words, "")
    if standing.state in ENDED:
        return HayStanding(NEVER, *_NEVER[standing.state])
    if turned_away(events):
        return HayStanding(NEVER, _TURNED_AWAY, _TURNED_AWAY_TO_DO)
    if standing.holds:
        return _HELD
    return HayStanding(COMING, _COMING[standing.state], "")


def turned_away(events: Sequence[Event]) -> Event | None:
    """The event by which the laboratory's desk refused the bag, unless somebody has taken it since."""
    for event in reversed(events):
        if event.kind in ("received", "stored", "relinquished"):
            return None
        if event.kind == "transfer refused" and event.role in LAB_ROLES:
            return event
    return None


def due_words(due: Expected | None) -> tuple[str, ...]:
    """When to expect the answer and what that rests on; what to do where nothing can be said."""
    if due is None:
        return ("We cannot name a day yet.",)
    if due.late:
        return ("This takes longer than usual.", "Call us, and we tell you why.")
    rests = f"That is how our last {due.records} samples went from here."
    if due.usual == due.slow:
        return (f"We expect your results by {_day(due.slow)}.", rests)
    return (
        f"We expect your results by {_day(due.usual)}.",
        f"Half of our samples take no longer. Nine of ten are ready by {_day(due.slow)}.",
        rests,
    )


def _day(day: object) -> str:
    return f"{day:%A}, {day:%B} {day:%d}".replace(" 0", " ")
