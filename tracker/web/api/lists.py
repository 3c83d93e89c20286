"""Lists from a spreadsheet, line by line: what would become of each, and what did."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields

from tracker.steps.bring_in import bring_in, try_in
from tracker.steps.set_feed import import_feeds
from tracker.web.api.entry import act
from tracker.web.api.fields import text
from tracker.web.api.uploads import Table, bytes_in
from tracker.web.shared.access import LAB, LEAD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Feeds(Table):
    """A list of supplements."""

    reason = text("why they change")


class LineTold(Schema):
    """What became of one line; the heading is line 1, and of a map each feature is a line.

    made: what it made, else the complaint; known: from before; words: what somebody should look at.
    """

    line = fields.Integer(required=True)
    made = fields.String(required=True, allow_none=True)
    known = fields.Boolean(required=True)
    words = fields.String(required=True)
    code = fields.String(required=True, allow_none=True)
    field = fields.String(required=True, allow_none=True)
    detail = fields.String(required=True, allow_none=True)
    remedy = fields.String(required=True, allow_none=True)


class Lines(Schema):
    """What became of a list: how many lines made something, were known before, and were refused and kept."""

    new = fields.Integer(required=True)
    known = fields.Integer(required=True)
    refused = fields.Integer(required=True)
    lines = fields.List(fields.Nested(LineTold), required=True)


def _told(answers: Sequence[Any]) -> dict[str, Any]:
    lines = [_line(one) for one in answers]
    known = sum(one["known"] for one in lines)
    refused = sum(one["code"] is not None and not one["known"] for one in lines)
    return {"new": len(lines) - known - refused, "known": known, "refused": refused, "lines": lines}


def _line(answer: Any) -> dict[str, Any]:
    made, complaint = getattr(answer, "made", None) or getattr(answer, "key", None), answer.complaint
    return {
        "line": answer.line,
        "made": None if made is None else str(made),
        "known": answer.known,
        "words": getattr(answer, "words", ""),
        "code": complaint and complaint.code,
        "field": complaint and complaint.field,
        "detail": complaint and complaint.message,
        "remedy": complaint and complaint.remedy,
    }


def _listed(step: Any) -> Any:
    def do(session: Session, act: Act, kind: str, name: str, content: str, sheet: str = "") -> dict[str, Any]:
        return _told(step(session, kind, name, bytes_in(content), act, sheet=sheet or None))

    return do


def _feeds(
    session: Session, act: Act, name: str, content: str, reason: str, sheet: str = ""
) -> dict[str, Any]:
    content_read = bytes_in(content)
    return _told(import_feeds(session, name, content_read, act, reason=reason, sheet=sheet or None))


act(
    "try-list",
    "/lists/<kind>/preview",
    "What would become of each line of a list of producers, fields or lots. Nothing is kept.",
    "office",
    _listed(try_in),
    Lines,
    given=Table,
    roles=LAB,
    tries=True,
)
act(
    "bring-in-list",
    "/lists/<kind>",
    "Take in a list of producers, fields or lots; a line refused is kept and does not touch the others.",
    "office",
    _listed(bring_in),
    Lines,
    given=Table,
    roles=LAB,
)
act(
    "import-feeds",
    "/feeds",
    "Take in a list of supplements, line by line.",
    "office",
    _feeds,
    Lines,
    given=Feeds,
    roles=LEAD,
)
