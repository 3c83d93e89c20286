"""Boxes of bags, all of a box or none of it, and photos of what was seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.receipt_reasons import ACTIONS, REASONS
from tracker.errors import TrackerError
from tracker.lookups.bench_sack import sack_of
from tracker.lookups.box import box_of, expected_bags
from tracker.lookups.find import sample_named
from tracker.lookups.photos import photo_of
from tracker.steps.hand_over import relinquish
from tracker.steps.keep_photo import add_photo
from tracker.steps.receive_bag import receive_bag
from tracker.storage.people import party
from tracker.web.api.asking import Paged
from tracker.web.api.custody import Over, Seen
from tracker.web.api.entry import Doing, act, question, short_list
from tracker.web.api.fields import key, one_of, several, text
from tracker.web.api.shapes import Stands, stands
from tracker.web.shared.access import LAB

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act

MOST = 100
PICTURES = ("image/jpeg", "image/png")


class OverBox(Over):
    """Who takes the bags."""

    samples = several(text("a tag's code, or `lot 12`", most=20), "the bags of the box", most=MOST)


class Bag(Seen):
    """What is seen of one bag of the box, and what is decided about it."""

    sample = text("the tag's code, or `lot 12`", most=20)
    reason = one_of("what is wrong with it, if anything", REASONS, needed=False)
    action = one_of("what is done then, if not the usual", ACTIONS, needed=False)
    told = text("the sentence to the producer, if not the usual", needed=False, most=400)


class BoxReceived(Doing):
    """A box on the desk; giver and waybill narrow what should be in it."""

    giver = key("who signed the bags away, or the place they lay in", needed=False)
    waybill = text("the carrier's number", needed=False, most=60)
    bags = fields.List(
        fields.Nested(Bag),
        required=True,
        validate=validate.Length(min=1, max=MOST),
        metadata={"description": "the bags that were found"},
    )


class Bags(Schema):
    """How each bag stands now, in the order in which they were sent."""

    bags = fields.List(fields.Nested(Stands), required=True)


class BoxTold(Bags):
    """The bags of the box. missing, extra: codes expected and not found, and found and not expected."""

    missing = fields.List(fields.String(), required=True)
    extra = fields.List(fields.String(), required=True)


class OnItsWay(Schema):
    """A bag that is expected here. giver: who signed it away, or where it lies, by key."""

    code = fields.String(required=True)
    lot = fields.Integer(required=True)
    producer = fields.String(required=True)
    giver = fields.String(required=True)
    waybill = fields.String(required=True)


class AskedBox(Paged):
    """Which of the bags that are on their way."""

    giver = key("who signed them away, or the place they lie in", needed=False)
    waybill = text("the carrier's number", needed=False, most=60)


class PhotoKept(Schema):
    """The photo is kept; it is asked for by its SHA-256."""

    entry = fields.Integer(required=True)
    sha256 = fields.String(required=True)
    kind = fields.String(required=True)


def _each(bags: Sequence[Any], do: Callable[[Any], Any]) -> list[Any]:
    """What becomes of each bag; a refusal says which of them it is about, counted from 1."""
    found = []
    for place, bag in enumerate(bags, start=1):
        try:
            found.append(do(bag))
        except TrackerError as refused:
            refused.line = place
            raise
    return found


def _hand_over(session: Session, act: Act, samples: list[str], to: str, waybill: str = "") -> dict[str, Any]:
    taker = party(session, to, field="to")

    def one(code: str) -> dict[str, Any]:
        sample = sample_named(session, code)
        return stands(session, sample, relinquish(session, sample, taker, act, waybill=waybill))

    return {"bags": _each(samples, one)}


def _receive(
    session: Session, act: Act, bags: list[dict[str, Any]], giver: str = "", waybill: str = ""
) -> dict[str, Any]:
    samples = _each(bags, lambda bag: sample_named(session, bag.pop("sample")))
    codes = [sack_of(session, sample).code for sample in samples]
    box = box_of(session, codes, giver=giver, waybill=waybill).counted

    def one(found: Any) -> dict[str, Any]:
        sample, seen = found
        return stands(session, sample, receive_bag(session, sample, act, box=box, **seen))

    told = _each(list(zip(samples, bags, strict=True)), one)
    return {"bags": told, "missing": box["missing"], "extra": box["extra"]}


def _expected(session: Session, giver: str = "", waybill: str = "") -> list[dict[str, Any]]:
    return [
        {
            "code": one.sack.shown,
            "lot": one.sack.lot,
            "producer": one.sack.producer,
            "giver": one.giver,
            "waybill": one.waybill,
        }
        for one in expected_bags(session)
        if giver in ("", one.giver) and waybill in ("", one.waybill)
    ]


def _photo(session: Session, sha256: str) -> tuple[bytes, str]:
    found = photo_of(session, sha256)
    return found.content, found.kind


def _keep_photo(session: Session, act: Act, entry: int, content: bytes) -> dict[str, Any]:
    row = add_photo(session, entry, content, act)
    return {"entry": entry, "sha256": row.sha256, "kind": row.kind}


short_list(
    "expected-bags",
    "/expected-bags",
    "The bags that were signed away to the laboratory or lie in a place.",
    _expected,
    OnItsWay,
    key=lambda one: (one["code"],),
    asked=AskedBox,
    roles=LAB,
)
act(
    "hand-over-box",
    "/hand-overs",
    "Sign several samples away at once, all of them or none.",
    "intake",
    _hand_over,
    Bags,
    given=OverBox,
)
act(
    "receive-box",
    "/receipts",
    "Sign for the bags of a box, all of them or none.",
    "intake",
    _receive,
    BoxTold,
    given=BoxReceived,
    roles=LAB,
)
act(
    "add-photo",
    "/entries/<int:entry>/photos",
    "Keep a photo, JPEG or PNG of 5 MB at most, with an entry of one's own.",
    "intake",
    _keep_photo,
    PhotoKept,
    given=None,
    takes=PICTURES,
    roles=LAB,
    status=201,
)
question(
    "photo", "/photos/<sha256>", "A photo as it was kept.", _photo, None, media=", ".join(PICTURES), roles=LAB
)
