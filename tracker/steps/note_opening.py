"""Note that somebody opened a page of results, or tried to: the only thing that looking leaves behind."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from tracker.storage.shares import Opening


def note_opening(session: Session, token_hash: str | None, what: str, came_from: str, now: datetime) -> None:
    """One line in the list of openings. token_hash: None where the token opened nothing."""
    session.add(Opening(token_hash=token_hash, what=what, came_from=came_from, at=now))
    session.flush()
