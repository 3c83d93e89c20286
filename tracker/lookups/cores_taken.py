"""From which bales the cores of a sample were really taken."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Event, that_count
from tracker.domain.hay_errors import Cored
from tracker.domain.precision import even_shares
from tracker.storage.coring import plan_in_force
from tracker.storage.custody import events_of


def cores_of(session: Session, sample_id: int) -> Cored | None:
    """The cores of each cored bale of a sample; None before its lot was cored."""
    events = that_count(events_of(session, sample_id))
    return cores_taken(CoringPlan.from_dict(plan_in_force(session, sample_id).body), events)


def cores_taken(plan: CoringPlan, events: Sequence[Event]) -> Cored | None:
    """The same by its plan and its events as corrected."""
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
