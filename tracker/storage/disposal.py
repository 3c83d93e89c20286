"""Which rows of a kind of data have been kept long enough."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from sqlalchemy import ColumnElement, or_, select

from tracker.domain.retention import PHOTOS, REFUSALS
from tracker.storage.access import AccessEntry, AccessLink, Attempt, SignedIn
from tracker.storage.base import Base
from tracker.storage.custody import EventRow
from tracker.storage.intake import Photo
from tracker.storage.kept import KeptRefusal


def due_rows(what: str, before: date) -> list[tuple[type[Base], ColumnElement[bool]]]:
    """The tables of a kind of data, each with what of it is from before that day (UTC)."""
    start = datetime.combine(before, time(), UTC)
    if what == PHOTOS:
        # Asked of each photo's event: of the events of a season few have one.
        old = select(EventRow.seq).where(EventRow.event_id == Photo.event_id, EventRow.recorded_at < start)
        return [(Photo, old.exists())]
    if what == REFUSALS:
        return [(KeptRefusal, KeptRefusal.at < start)]
    return [
        (AccessEntry, AccessEntry.at < start),
        (SignedIn, or_(SignedIn.ended_at < start, SignedIn.seen_at < start)),
        (AccessLink, or_(AccessLink.used_at < start, AccessLink.expires_at < start)),
        (Attempt, Attempt.at < start),
    ]
