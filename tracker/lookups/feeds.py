"""The supplements in force: the table that comes with the program, and over it what the programme has set itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from tracker.domain.feed import Feed
from tracker.errors import NotFound
from tracker.storage.feeding import feed_versions, feeds_in_force
from tracker.storage.people import party_names

__all__ = ["FeedChange", "feed_changes", "feed_in_force", "feeds_in_force"]


def feed_in_force(session: Session, key: str) -> Feed:
    """The feed of this short name. Raises NotFound `unknown-feed`."""
    found = {feed.key: feed for feed in feeds_in_force(session)}.get(key)
    if found is None:
        raise NotFound(
            "unknown-feed", f"There is no feed {key!r}.", field="key", remedy="`tracker feeds` lists them."
        )
    return found


@dataclass(frozen=True)
class FeedChange:
    """One change to a feed: what was set, by whom, when and why."""

    key: str
    version: int
    given: dict[str, str]
    reason: str
    by: str
    at: datetime


def feed_changes(session: Session, key: str) -> tuple[FeedChange, ...]:
    """Every change the programme has made to this feed, the oldest first."""
    names = party_names(session)
    return tuple(
        FeedChange(row.key, row.version, row.given, row.reason, names[row.by], row.at)
        for row in feed_versions(session, key)
    )
