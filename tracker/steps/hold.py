"""Put a sample on hold, and decide that it may go on."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy.orm import Session

from tracker.domain.custody import LAB_ROLES, Act
from tracker.errors import Refused
from tracker.steps.append_event import on_sample, standing_of
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.kept import practice_in_force


def hold(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Stop testing until somebody decides. Raises Refused `reason-missing`."""
    require_reason(reason)
    return on_sample(session, "held", sample, {"reason": reason.strip()}, act)


def lift_hold(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Let the sample go on; the reason is the decision and stands on the report.

    Raises Refused `reason-missing`, `not-allowed`, `second-person-needed`, `not-on-hold`.
    """
    require_reason(reason)
    if act.by.role not in LAB_ROLES:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not decide on a hold.",
            field="by",
            remedy="Somebody of the laboratory who answers for the sample decides.",
        )
    require_second_person(session, {hold.by for hold in standing_of(session, sample).holds}, act)
    return on_sample(session, "hold lifted", sample, {"reason": reason.strip()}, act)


def require_second_person(session: Session, first: Collection[str], act: Act) -> None:
    """Nothing, unless the programme wants a second person and this one is of the first.

    Raises Refused `second-person-needed`.
    """
    if practice_in_force(session).word("release_second_person") == "yes" and act.by.key in first:
        raise Refused(
            "second-person-needed",
            f"{act.by.name} took part in what is to be decided here.",
            field="by",
            remedy="A second person looks at it and decides.",
        )
