"""The log as a list: everything that happened, by number, in the order the office heard of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.custody import EventRow, as_event


@dataclass(frozen=True)
class EntryLine:
    """One entry of the log. occurred_at at the device's offset, recorded_at in UTC; by: a party's key."""

    entry: int
    event_id: str
    kind: str
    lot: int | None
    sample: int | None
    occurred_at: datetime
    recorded_at: datetime
    by: str
    role: str
    device: str
    note: str
    late_reason: str
    data: dict[str, Any]


def entries_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[EntryLine]:
    """The entries by number, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(session, select(EventRow), [EventRow.seq], _line, after, limit)


def _line(row: EventRow) -> EntryLine:
    event = as_event(row)
    return EntryLine(
        entry=row.seq,
        event_id=row.event_id,
        kind=row.kind,
        lot=row.lot_id,
        sample=row.sample_id,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        by=row.by,
        role=row.role,
        device=row.device,
        note=row.note,
        late_reason=row.late_reason,
        data=row.data,
    )
