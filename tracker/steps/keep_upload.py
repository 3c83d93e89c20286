"""Keep a file between the look at it and its import, for a day, where every server of the programme finds it."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from sqlalchemy import delete
from sqlalchemy.orm import Session

from tracker.errors import Refused
from tracker.storage.analysis import Upload

KEPT_FOR = timedelta(days=1)


def keep_upload(session: Session, content: bytes, now: datetime) -> str:
    """Keep the file for a day, and let go of those that are older; its SHA-256 in hex."""
    digest = hashlib.sha256(content).hexdigest()
    session.execute(delete(Upload).where(Upload.at < now - KEPT_FOR))
    kept = session.get(Upload, digest)
    if kept is None:
        session.add(Upload(sha256=digest, content=content, at=now))
    else:
        kept.at = now
    session.flush()
    return digest


def kept_upload(session: Session, digest: str) -> bytes:
    """The file with this SHA-256. Raises Refused `upload-gone`."""
    found = session.get(Upload, digest)
    if found is None or hashlib.sha256(found.content).hexdigest() != digest:
        raise Refused(
            "upload-gone",
            "The file that was looked at is no longer here.",
            field="file",
            remedy="Choose the file again; nothing was taken in.",
        )
    return found.content


def forget_upload(session: Session, digest: str) -> None:
    """Take the file away once it is in the season."""
    session.execute(delete(Upload).where(Upload.sha256 == digest))
