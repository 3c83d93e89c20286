"""What went wrong, put right: an entry taken back or corrected, and a tag that is on two bags."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from labels import payload
from tracker.lookups.contested_tags import Contest, contested_tags
from tracker.lookups.entries import EntryLine, entries_page
from tracker.lookups.find import sample_numbered
from tracker.steps.amend import amend
from tracker.steps.settle_tag import settle_tag
from tracker.steps.undo import undo
from tracker.web.api.entry import Doing, act, listing, short_list
from tracker.web.api.fields import PLAIN, several, shape_of, text, whole
from tracker.web.api.shapes import Stands, stands
from tracker.web.shared.access import LAB, LEAD

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


def changed(words: str) -> fields.Dict:
    """New values by their names, all of them text."""
    return fields.Dict(
        required=True,
        keys=fields.String(validate=validate.Regexp(PLAIN)),
        values=fields.String(validate=[validate.Length(max=200), validate.Regexp(PLAIN)]),
        validate=validate.Length(min=1, max=50),
        metadata={"description": words},
    )


class Correction(Doing):
    """What an entry should have said, and why."""

    changes = changed("the new values by their names, as text: grams, balance, mill, ...")
    reason = text("why")


class Settlement(Doing):
    """Which bag keeps the tag, and a fresh tag for each other one."""

    keeps = whole("the sample that keeps the tag, by its number", least=1)
    fresh = several(
        text("a code", most=20), "a fresh tag for each other bag, by the samples' numbers", most=20
    )
    reason = text("why")


class Settled(Schema):
    """The samples that gave the tag up, by their numbers."""

    code = fields.String(required=True)
    gave_up = fields.List(fields.Integer(), required=True)


def _stands(session: Session, event: Any) -> dict[str, Any]:
    return stands(session, sample_numbered(session, event.sample_id), event)


def _settle(
    session: Session, act: Act, code: str, keeps: int, fresh: list[str], reason: str
) -> dict[str, Any]:
    others = settle_tag(session, code, sample_numbered(session, keeps), fresh, act, reason=reason)
    return {"code": payload.shown(code), "gave_up": [one.id for one in others]}


act(
    "undo",
    "/entries/<int:entry>/undo",
    "Take back what the same person entered just now.",
    "intake",
    lambda session, act, entry: _stands(session, undo(session, entry, act)),
    Stands,
)
act(
    "amend",
    "/entries/<int:entry>/amend",
    "Correct an entry; the original stays beside it.",
    "lab",
    lambda session, act, entry, changes, reason: _stands(
        session, amend(session, entry, changes, act, reason=reason)
    ),
    Stands,
    given=Correction,
    roles=LAB,
)
listing(
    "entries",
    "/entries",
    "The log: everything that happened, by number, in the order the office heard of it.",
    entries_page,
    shape_of(EntryLine),
    roles=LEAD,
)
short_list(
    "contested-tags",
    "/contested-tags",
    "Tags that are on more than one bag.",
    contested_tags,
    shape_of(Contest),
    key=lambda one: (one.code,),
    roles=LAB,
)
act(
    "settle-tag",
    "/tags/<code>/settle",
    "Decide which bag keeps a contested tag.",
    "lab",
    _settle,
    Settled,
    given=Settlement,
    roles=LAB,
)
