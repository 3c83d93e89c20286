"""The number of a sample's latest entry, by which a page knows whether somebody else has been there since."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.storage.custody import EventRow


def last_entry(session: Session, sample_id: int) -> int:
    """The highest entry number of the sample; 0 where it has none."""
    return last_entries(session, [sample_id]).get(sample_id, 0)


def last_entries(session: Session, ids: Sequence[int]) -> dict[int, int]:
    """The highest entry number of each of these samples that has one."""
    wanted = select(EventRow.sample_id, func.max(EventRow.seq)).where(EventRow.sample_id.in_(ids))
    rows = session.execute(wanted.group_by(EventRow.sample_id))
    return {sample: seq for sample, seq in rows if sample is not None}
