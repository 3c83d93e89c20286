"""The log's signed heads, for whoever keeps them outside and compares."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.log import LogHead


@dataclass(frozen=True)
class HeadLine:
    """One head. size: how many entries it covers; note: as it was signed, byte for byte; at in UTC."""

    number: int
    size: int
    at: datetime
    note: str


def heads_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[HeadLine]:
    """The heads by number, a page of them. Raises Refused `not-a-cursor`."""
    return page_of(
        session,
        select(LogHead),
        [LogHead.id],
        lambda row: HeadLine(row.id, row.size, row.at, row.note),
        after,
        limit,
    )
