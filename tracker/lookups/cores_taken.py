"""From which bales the cores of a sample were really taken."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Event
from tracker.domain.hay_errors import Cored
from tracker.domain.precision import even_shares


def cores_taken(plan: CoringPlan, events: Sequence[Event]) -> Cored | None:
    """The cores of each cored bale, by the events as corrected; None before the lot was cored."""
    event = next((event for event in reversed(events) if event.kind == "cored"), None)
    if event is None:
        return None
    taken = int(event.data["cores_taken"])
    noted = event.data.get("bales") or {}
    shares: Sequence[int] = [int(cores) for cores in noted.values() if int(cores)]
    if sum(shares) != taken:
        # Nobody noted which bales were left out, or the count was corrected since; the cores that were taken came
        # from one bale each, or evenly.
        picked = [pick.cores for pick in plan.picks]
        shares = picked if taken == plan.cores else even_shares(taken, len(picked))
    return Cored(tuple(shares), plan.bale_count)
