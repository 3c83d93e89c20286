"""When anything was recorded last."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.storage.custody import EventRow


def last_recorded(session: Session) -> datetime | None:
    """The office's time of the newest entry in the log, UTC; None in an empty season."""
    return session.scalar(select(EventRow.recorded_at).order_by(EventRow.seq.desc()).limit(1))
