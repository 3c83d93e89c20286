"""What a phone sends, or what a file with its unsent entries holds: read whole, each entry by itself.

A number with digits after the point stays the text it was, so that its digits stay. An entry that cannot be read
is no reason not to read the others.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validate

from tracker.domain.field_entry import MARKER, PAPER, PHONE, read_event_id, read_kind
from tracker.domain.times import moment
from tracker.errors import Refused, TrackerError

# A day's clock error each way for a century, in milliseconds: what is beyond is no clock.
_MOST_MS = 100 * 366 * 86_400_000
_MOST_NUMBER = 2**31 - 1


@dataclass(frozen=True)
class Entry:
    """One entry as it came. number: the phone's own count; body: the whole of it, for keeping."""

    event_id: str
    number: int
    kind: str
    payload: Mapping[str, Any]
    who: str
    device_time: datetime
    offset_ms: int | None
    jumped: bool
    source: str
    paper: Mapping[str, Any] | None
    how: str | None
    body: Mapping[str, Any]
    body_hash: str


@dataclass(frozen=True)
class Unreadable:
    """An entry that is none, with its complaint; event_id as it was given, if any."""

    event_id: str | None
    body: Any
    complaint: TrackerError


@dataclass(frozen=True)
class Batch:
    """What one phone sent. sent_at: its clock as it sent or wrote the file; unsent: how many it says it has yet."""

    device: str
    called: str
    sent_at: datetime
    unsent: int | None
    entries: tuple[Entry | Unreadable, ...]


def _short_name(words: str) -> None:
    if not words.isprintable() or not 0 < len(words) <= 100:
        raise ValidationError("It is no short line of text.")


class _BatchSchema(Schema):
    class Meta:
        unknown = "exclude"

    marker = fields.String(required=True, validate=validate.Equal(MARKER))
    device = fields.String(required=True, validate=validate.Length(min=1, max=100))
    device_name = fields.String(load_default="", validate=validate.Length(max=200))
    sent_at = fields.String(required=True)
    unsent = fields.Integer(load_default=None, allow_none=True, validate=validate.Range(min=0, max=10**6))
    entries = fields.List(fields.Raw(allow_none=True), required=True)


class _EntrySchema(Schema):
    class Meta:
        unknown = RAISE

    event_id = fields.String(required=True)
    seq = fields.Integer(required=True, strict=True, validate=validate.Range(min=1, max=_MOST_NUMBER))
    kind = fields.String(required=True)
    payload = fields.Dict(keys=fields.String(), required=True)
    who = fields.String(required=True, validate=_short_name)
    device_time = fields.String(required=True)
    clock_offset_ms = fields.Integer(
        load_default=None, allow_none=True, strict=True, validate=validate.Range(min=-_MOST_MS, max=_MOST_MS)
    )
    clock_jumped = fields.Boolean(load_default=False)
    source = fields.String(load_default=PHONE, validate=validate.OneOf((PHONE, PAPER)))
    paper = fields.Dict(keys=fields.String(), load_default=None, allow_none=True)
    how = fields.String(load_default=None, allow_none=True, validate=validate.Length(max=40))


def read_batch(content: bytes) -> Batch:
    """What was sent. Raises Refused `not-field-entries` where it is not what our pages send."""
    try:
        given = json.loads(content.decode("utf-8"), parse_float=str, parse_constant=_no_number)
        read = _BatchSchema().load(given)
        sent_at = moment(read["sent_at"], field="sent_at")
        uuid.UUID(read["device"])
    except (UnicodeDecodeError, ValueError, RecursionError, ValidationError, Refused) as fault:
        raise Refused(
            "not-field-entries",
            f"This is not what the field pages send: {_said(fault)}.",
            remedy="Send it from the field pages, or load the file that they wrote, unchanged.",
        ) from None
    entries = tuple(_entry(body) for body in read["entries"])
    called = "".join(letter for letter in read["device_name"] if letter.isprintable()).strip()
    return Batch(read["device"].lower(), called, sent_at, read["unsent"], entries)


def _entry(body: Any) -> Entry | Unreadable:
    given_id = body.get("event_id") if isinstance(body, dict) else None
    try:
        return _readable(body)
    except ValidationError as fault:
        field = next(iter(fault.normalized_messages()), "entry")
        complaint: TrackerError = Refused(
            "entry-unreadable",
            f"The entry cannot be read: {_said(fault)}.",
            field=str(field),
            remedy="Open the field pages again, so that they are the newest, and enter it anew.",
        )
    except TrackerError as refused:
        complaint = refused
    return Unreadable(given_id if isinstance(given_id, str) else None, body, complaint)


def _readable(body: Any) -> Entry:
    if not isinstance(body, dict):
        raise ValidationError({"entry": ["it is no object"]})
    read = _EntrySchema().load(body)
    paper = _paper(read)
    return Entry(
        event_id=read_event_id(read["event_id"]),
        number=read["seq"],
        kind=read_kind(read["kind"]),
        payload=read["payload"],
        who=read["who"],
        device_time=moment(read["device_time"], field="device_time"),
        offset_ms=read["clock_offset_ms"],
        jumped=read["clock_jumped"],
        source=read["source"],
        paper=paper,
        how=read["how"],
        body=body,
        body_hash=hashed(body),
    )


def _paper(read: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The paper that an entry was typed from: its form number and its time."""
    if read["source"] != PAPER:
        return None
    paper = read["paper"] or {}
    form, at = str(paper.get("form") or "").strip(), str(paper.get("at") or "")
    if not form:
        raise ValidationError({"paper": ["the form's number is missing"]})
    return {"form": form[:60], "at": moment(at, field="paper").isoformat()}


def hashed(body: Any) -> str:
    """SHA-256 of a body's one text, in hex: the same for the same values, however they were spaced and ordered."""
    text = json.dumps(body, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _no_number(text: str) -> Any:
    raise ValueError(f"{text} is no number")


def _said(fault: Exception) -> str:
    if isinstance(fault, ValidationError):
        return "; ".join(
            f"{name}: {_first(words)}" for name, words in sorted(fault.normalized_messages().items())
        )[:300]
    if isinstance(fault, Refused):
        return fault.message
    return "it is no JSON, or has no device" if isinstance(fault, ValueError) else "it is nested too deep"


def _first(words: Any) -> str:
    while isinstance(words, (dict, list)) and words:
        words = next(iter(words.values())) if isinstance(words, dict) else words[0]
    return str(words).rstrip(".")
