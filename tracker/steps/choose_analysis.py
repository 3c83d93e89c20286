"""Say which of several analyses of a sample stands where they measured the same thing.

Where the sample is on hold for just this, the choice is the decision and lifts the hold.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Event, fold
from tracker.domain.findings import HOLD
from tracker.errors import NotFound
from tracker.steps.append_event import following, on_sample
from tracker.steps.judge_analysis import MEASURED_BEFORE
from tracker.steps.print_tags import require_reason
from tracker.storage.analysis import Analysis
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, events_of


def choose_analysis(session: Session, sample: Sample, number: int, act: Act, *, reason: str) -> EventRow:
    """Let this analysis stand before the others; none is taken away.

    Raises Refused `reason-missing`, NotFound `unknown-analysis`, and what custody raises.
    """
    require_reason(reason)
    analysis = session.get(Analysis, number)
    if analysis is None or analysis.sample_id != sample.id:
        raise NotFound(
            "unknown-analysis",
            f"The sample has no analysis {number}.",
            field="analysis",
            remedy="`tracker analyses` lists them.",
        )
    data = {"analysis": analysis.event_id, "number": str(number), "reason": reason.strip()}
    event = on_sample(session, "analysis chosen", sample, data, act)
    if _only_waits_for_this(session, sample):
        on_sample(session, "hold lifted", sample, {"reason": reason.strip()}, following(act))
    return event


def _only_waits_for_this(session: Session, sample: Sample) -> bool:
    """Whether the sample is on hold, and for nothing but that two analyses measured the same.

    A decision lifts every hold there is, so one for another reason, or put on by a person, keeps them all.
    """
    events = {event.event_id: event for event in events_of(session, sample.id)}
    holds = fold(events.values()).holds
    return bool(holds) and all(_why(events[hold.event_id]) == {MEASURED_BEFORE} for hold in holds)


def _why(event: Event) -> set[str]:
    """The codes of what put the sample on hold; none where a person did, in words."""
    return {str(finding["code"]) for finding in event.data.get("findings", ()) if finding["level"] == HOLD}
