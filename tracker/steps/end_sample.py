"""The end of a sample's way: kept, disposed of, given back, or lost."""

from __future__ import annotations

from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Party
from tracker.steps.append_event import on_sample
from tracker.steps.hand_over import require_place
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow


def archive(session: Session, sample: Sample, place: Party, act: Act) -> EventRow:
    """Keep what remains in a place. Raises Refused `not-a-place-to-store` and what custody raises."""
    require_place(place)
    return on_sample(session, "archived", sample, {"place": place.as_data()}, act)


def dispose(session: Session, sample: Sample, act: Act, *, method: str) -> EventRow:
    """Throw away what remains; nothing follows. Raises Refused `entry-incomplete` and what custody raises."""
    return on_sample(session, "disposed", sample, {"method": method.strip()}, act)


def give_back(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Give what remains back to its owner; nothing follows."""
    require_reason(reason)
    return on_sample(session, "returned", sample, {"reason": reason.strip()}, act)


def lose(session: Session, sample: Sample, act: Act, *, circumstances: str) -> EventRow:
    """Say that the sample is lost, and how; nothing follows, and it stays in the list."""
    return on_sample(session, "lost", sample, {"circumstances": circumstances.strip()}, act)


def cancel(session: Session, sample: Sample, act: Act, *, reason: str) -> EventRow:
    """Call off a sample that was planned and not cored."""
    require_reason(reason)
    return on_sample(session, "cancelled", sample, {"reason": reason.strip()}, act)
