"""What a lot's released report means for a group of animals, in plain words; or why nothing is said."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.animals import Animals
from tracker.domain.plain_advice import PlainAdvice, plain
from tracker.errors import TrackerError
from tracker.lookups.feeding_answer import answer_from
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.issued_reports import Issued
from tracker.storage.kept import practice_in_force

NOT_RELEASED = "This report holds no advice on feeding. Call us, and we work it out with you."
NOT_KNOWN = "The test lacks a number that we need for advice. Call us."


def advice_on(session: Session, report: Issued | None, animals: Animals) -> tuple[PlainAdvice | None, str]:
    """The advice, or None and why there is none: no report, no interpretation released with it, values missing."""
    if report is None:
        return None, ""
    if not (report.body.get("interpretation") or {}).get("released_by"):
        return None, NOT_RELEASED
    try:
        found = answer_from(report.body, animals, feeds_in_force(session), practice_in_force(session))
    except TrackerError:
        return None, NOT_KNOWN
    return plain(found.as_dict()), ""
