"""Keep a picture with an entry: of a torn bag, a broken seal, a label that cannot be read."""

from __future__ import annotations

import hashlib

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import NotFound, Refused
from tracker.storage.base import LARGEST_ID
from tracker.storage.custody import EventRow
from tracker.storage.intake import Photo

MOST_BYTES = 5 * 1024 * 1024
# How a file of each kind begins and ends, whatever its name says (ITU-T T.81, annex B; PNG specification, 5 and 11).
_KINDS = {
    "image/jpeg": (b"\xff\xd8\xff", b"\xff\xd9"),
    "image/png": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", b"IEND\xaeB`\x82"),
}


def keep_photo(session: Session, event: EventRow, content: bytes) -> Photo:
    """Keep the picture, JPEG or PNG by its content, of 5 MB at most.

    Raises Refused `photo-too-large`, `not-a-photo`.
    """
    if len(content) > MOST_BYTES:
        raise Refused(
            "photo-too-large",
            f"The photo has {len(content)} bytes; {MOST_BYTES} are taken.",
            field="photo",
            remedy="Take it at a lower resolution.",
        )
    photo = Photo(
        event_id=event.event_id,
        sha256=hashlib.sha256(content).hexdigest(),
        kind=_kind(content),
        content=content,
    )
    session.add(photo)
    session.flush()
    return photo


def add_photo(session: Session, entry: int, content: bytes, act: Act) -> Photo:
    """Keep a picture with an entry that is in the log already, by whoever made it: a photo says no more than that.

    Raises NotFound `unknown-entry`, Refused `not-own-entry`, and as keep_photo.
    """
    event = session.get(EventRow, entry) if entry <= LARGEST_ID else None
    if event is None:
        raise NotFound(
            "unknown-entry", f"There is no entry {entry}.", field="entry", remedy="Look at the sample's way."
        )
    if event.by != act.by.key:
        raise Refused(
            "not-own-entry",
            f"Entry {entry} was made by {event.by}, and not by {act.by.key}.",
            field="entry",
            remedy="Whoever made the entry adds its photo; else record what was seen as an entry of your own.",
        )
    return keep_photo(session, event, content)


def _kind(content: bytes) -> str:
    for kind, (start, end) in _KINDS.items():
        # Some cameras fill a JPEG up with zeros after its end.
        if content.startswith(start) and content.rstrip(b"\0").endswith(end):
            return kind
    raise Refused(
        "not-a-photo",
        "The file is no whole JPEG or PNG picture, whatever its name says.",
        field="photo",
        remedy="Take the photo again, or save it as JPEG or PNG.",
    )
