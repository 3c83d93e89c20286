"""Say which of several analyses of a sample stands where they measured the same thing."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import NotFound
from tracker.steps.append_event import on_sample
from tracker.steps.print_tags import require_reason
from tracker.storage.analysis import Analysis
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow


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
    return on_sample(session, "analysis chosen", sample, data, act)
