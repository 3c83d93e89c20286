"""What somebody saw in the field: words or a picture of a lot or a bag, kept beside it and judged by nobody."""

from __future__ import annotations

import base64
import binascii

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import Refused
from tracker.steps.append_event import on_lot, on_sample
from tracker.steps.field_refs import Payload, about, text
from tracker.steps.keep_photo import keep_photo
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.lots import Lot


def note(session: Session, payload: Payload, act: Act) -> tuple[Lot | None, Sample | None]:
    """Keep words about a lot or a bag. Raises Refused `entry-incomplete`, Waits, and what finds the bag raises."""
    lot, sample = about(session, payload, act.by)
    _noted(session, lot, sample, text(payload, "words", needed=True), act)
    return lot, sample


def photo(session: Session, payload: Payload, act: Act) -> tuple[Lot | None, Sample | None]:
    """Keep a picture of a lot or a bag. Raises as note, and Refused `not-a-photo`, `photo-too-large`."""
    lot, sample = about(session, payload, act.by)
    name = text(payload, "name") or "a photo"
    event = _noted(session, lot, sample, f"Photo: {name}", act)
    keep_photo(session, event, _picture(text(payload, "jpeg", needed=True)))
    return lot, sample


def _noted(session: Session, lot: Lot | None, sample: Sample | None, words: str, act: Act) -> EventRow:
    if sample is not None:
        return on_sample(session, "noted", sample, {"words": words}, act)
    assert lot is not None
    return on_lot(session, "lot noted", lot.id, {"words": words}, act)


def _picture(words: str) -> bytes:
    plain = words.partition("base64,")[2] if words.startswith("data:") else words
    try:
        return base64.b64decode(plain, validate=True)
    except (binascii.Error, ValueError):
        raise Refused(
            "not-a-photo",
            "The picture was damaged on its way.",
            field="jpeg",
            remedy="Take the photo again.",
        ) from None
