"""The number of a sample's latest entry, by which a page knows whether somebody else has been there since."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.storage.custody import EventRow


def last_entry(session: Session, sample_id: int) -> int:
    """The highest entry number of the sample; 0 where it has none."""
    return session.scalar(select(func.max(EventRow.seq)).where(EventRow.sample_id == sample_id)) or 0
