"""A picture that was kept with an entry."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.errors import NotFound
from tracker.storage.intake import Photo


@dataclass(frozen=True)
class Picture:
    """kind: its media type."""

    kind: str
    content: bytes


def photo_of(session: Session, sha256: str) -> Picture:
    """The photo with this hash. Raises NotFound `unknown-photo`."""
    row = session.scalar(select(Photo).where(Photo.sha256 == sha256).limit(1))
    if row is None:
        raise NotFound(
            "unknown-photo", "There is no such photo.", field="photo", remedy="Look at the bag's own page."
        )
    return Picture(row.kind, row.content)
