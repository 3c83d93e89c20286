"""Tags: print them, bind them, replace them, make them void, and know who carries which."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validates_schema
from marshmallow import ValidationError as Wrong

from labels import payload
from tracker.domain.units import number
from tracker.lookups.find import code_on_bag, sample_named
from tracker.lookups.planned import planned
from tracker.lookups.tag_owner import TagOwner, tag_owner
from tracker.lookups.tag_rolls import rolls_page
from tracker.papers.coring_card import PAPERS as CARD_PAPERS
from tracker.papers.coring_card import card_of, coring_card
from tracker.papers.field_sheet import SpareTag, field_sheet
from tracker.papers.flow import PAPERS
from tracker.papers.tag_sheet import Layout, Office, write_sack_labels, write_tags, write_test_page
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.issue_tags import count_in, issue_tags
from tracker.steps.print_field_sheet import print_field_sheet
from tracker.steps.print_tags import PrintedTag, print_tags, reprint_tag, void_run, void_tag
from tracker.storage.people import party
from tracker.web.api.entry import PDF, Doing, act, listing, question
from tracker.web.api.fields import Strict, digits, key, one_of, several, shape_of, text, whole
from tracker.web.api.shapes import Codes, Stands, stands
from tracker.web.shared.access import LAB, OFFICE
from tracker.web.shared.season import settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act

MOST = 500


class OnPaper(Strict):
    """What is in the printer, and how it lies there."""

    stock = text("the sheet or roll; a4-2x4 unless said", needed=False, most=40)
    start = whole("first cell of a part-used sheet", needed=False, least=1, most=1000)
    rotation = whole("degrees that a roll's labels are turned", needed=False, most=359)
    offset_x = digits("this printer's shift to the right, mm", needed=False)
    offset_y = digits("this printer's shift downwards, mm", needed=False)


class Printing(OnPaper, Doing):
    """Tags to be printed."""

    skip = several(whole("a cell", least=1, most=1000), "cells that are used already", needed=False, most=100)
    lots = several(whole("a lot's number", least=1), "a tag for each of these lots", needed=False, most=MOST)
    roll = whole("so many tags for lots that are not known yet", needed=False, most=MOST)

    @validates_schema
    def _something(self, data: dict[str, Any], **more: Any) -> None:
        count = len(data.get("lots", ())) + data.get("roll", 0)
        if not 1 <= count <= MOST:
            raise Wrong(f"{count} tags are asked for; print 1 to {MOST} at once.", "roll")


class Printed(Schema):
    """The run, its codes and its paper, which holds the stubs' secrets and so comes in the first answer alone."""

    run = fields.Integer(required=True)
    codes = fields.List(fields.String(), required=True)
    paper = fields.String(required=True, allow_none=True, metadata={"description": "PDF in base64, or null"})


class Again(OnPaper, Doing):
    """Why a tag is printed again, and on what."""

    reason = text("why")


class SheetOfTags(Doing):
    """Whose spare tags stand on the sheet: those that a person carries, or those named."""

    to = key("who carries the tags", needed=False)
    codes = several(text("a code", most=20), "spare tags, if not all that he carries", needed=False, most=60)
    paper = one_of("a4 unless said", PAPERS, needed=False)


class SheetPrinted(Schema):
    """The sheet for the field: the form's number, its tags, and the paper, which comes in the first answer alone."""

    form = fields.String(required=True)
    codes = fields.List(fields.String(), required=True)
    paper = fields.String(required=True, allow_none=True, metadata={"description": "PDF in base64, or null"})


class CardOn(Strict):
    """The paper of a coring card."""

    paper = one_of("a5 unless said", CARD_PAPERS, needed=False)


class Bound(Doing):
    """The tag that goes on the bag."""

    code = text("the tag's code", most=20)


class Replaced(Bound):
    """The fresh tag, and why."""

    reason = text("why")


class Sealed(Doing):
    """The seal that closes the bag."""

    seal = text("the number on the seal", most=60)


class Void(Doing):
    """Why a tag is made void."""

    reason = text("why")


class Spoilt(Void):
    """What of a run is spoilt, and why."""

    first = whole("the first spoilt tag by its number in the run", needed=False, least=1)


class Issuing(Doing):
    """A stretch of a run, and who carries it."""

    run = whole("the print run", least=1)
    first = whole("number of the first tag", least=1)
    last = whole("number of the last tag", least=1)
    to = key("who carries them")


class Back(Doing):
    """Tags that come back."""

    codes = several(text("a code", most=20), "tags that come back", most=MOST)


class Roll(Schema):
    """What became of a print run's tags; carried: how many each person still carries."""

    run = fields.Integer(required=True)
    printed = fields.Integer(required=True)
    bound = fields.Integer(required=True)
    void = fields.Integer(required=True)
    in_office = fields.Integer(required=True)
    reprinted = fields.Integer(required=True)
    carried = fields.Dict(keys=fields.String(), values=fields.List(fields.String()), required=True)


def _print(session: Session, act: Act, **given: Any) -> dict[str, Any]:
    layout, office = _layout(given), _office()
    wanted = [*given.get("lots", ()), *[None] * given.get("roll", 0)]
    run, printed = print_tags(session, wanted, act, base_url=office.base_url, layout=layout.as_dict())
    return _printed(run.id, printed, layout)


def _reprint(session: Session, act: Act, code: str, reason: str, **given: Any) -> dict[str, Any]:
    layout, office = _layout(given), _office()
    run, one = reprint_tag(
        session, code, act, reason=reason, base_url=office.base_url, layout=layout.as_dict()
    )
    return _printed(run.id, [one], layout, [one.number])


def _printed(
    run: int, printed: Sequence[PrintedTag], layout: Layout, numbers: Sequence[str] = ()
) -> dict[str, Any]:
    file = BytesIO()
    pairs = [(one.tag.code, one.token) for one in printed]
    write_tags(file, _office(), run, pairs, layout, numbers=numbers)
    return {**_codes(one.tag for one in printed), "run": run, "paper": b64encode(file.getvalue()).decode()}


def _layout(given: dict[str, Any]) -> Layout:
    offset = [float(number(given.get(name, "0"), field=name)) for name in ("offset_x", "offset_y")]
    return Layout(
        given.get("stock") or "a4-2x4",
        given.get("start", 1),
        tuple(given.get("skip", ())),
        given.get("rotation", 0),
        (offset[0], offset[1]),
    )


def _office() -> Office:
    told = settings()
    return Office(told.programme, told.phone, told.base_url)


def _sack_label(session: Session, sample: str, **given: Any) -> bytes:
    named = sample_named(session, sample)
    found = planned(session, named)
    lines = (f"lot {found.lot}", f"{found.facts.forage_kind}, cutting {found.facts.cutting}")
    file = BytesIO()
    write_sack_labels(file, _office(), [(code_on_bag(session, named), lines)], _layout(given))
    return file.getvalue()


def _card(session: Session, sample: str, paper: str = "a5") -> bytes:
    found = planned(session, sample_named(session, sample))
    file = BytesIO()
    coring_card(file, card_of(found), paper)
    return file.getvalue()


def _test_page(session: Session, **given: Any) -> bytes:
    file = BytesIO()
    write_test_page(file, _layout(given))
    return file.getvalue()


def _field_sheet(
    session: Session, act: Act, to: str = "", codes: Sequence[str] = (), paper: str = "a4"
) -> dict[str, Any]:
    carrier = party(session, to, field="to") if to else None
    form, tags = print_field_sheet(session, act, to=carrier, codes=codes)
    spare = [SpareTag(tag.code, PrintedTag(tag, "").number) for tag in tags]
    file, name = BytesIO(), carrier.name if carrier else ""
    field_sheet(file, form, spare, base_url=settings().base_url, carrier=name, paper=paper)
    return {**_codes(tags), "form": form, "paper": b64encode(file.getvalue()).decode()}


def _codes(tags: Any) -> dict[str, Any]:
    return {"codes": [payload.shown(tag.code) for tag in tags]}


def _bind(session: Session, act: Act, sample: str, code: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    return stands(session, found, bag_cores(session, found, code, act))


def _replace(session: Session, act: Act, sample: str, code: str, reason: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    return stands(session, found, replace_tag(session, found, code, act, reason=reason))


def _seal(session: Session, act: Act, sample: str, seal: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    return stands(session, found, seal_bag(session, found, seal, act))


def _issue(session: Session, act: Act, run: int, first: int, last: int, to: str) -> dict[str, Any]:
    return _codes(issue_tags(session, run, first, last, party(session, to, field="to"), act))


def _void(session: Session, act: Act, code: str, reason: str) -> dict[str, Any]:
    return _codes([void_tag(session, code, act, reason=reason)])


question(
    "tag",
    "/tags/<code>",
    "What a tag is on, and what it waits for.",
    lambda session, code: tag_owner(session, code),
    shape_of(TagOwner),
)
listing(
    "rolls",
    "/tag-runs",
    "Every print run, and what became of its tags.",
    rolls_page,
    Roll,
    roles=LAB,
)
act(
    "print-tags",
    "/tag-runs",
    "Print tags for lots, or a roll.",
    "office",
    _print,
    Printed,
    given=Printing,
    roles=LAB,
    status=201,
    secret=("paper",),
)
act(
    "reprint-tag",
    "/tags/<code>/reprint",
    "Print a tag again: the code stays, its stub is a new one, and the old stub opens nothing any more.",
    "office",
    _reprint,
    Printed,
    given=Again,
    roles=OFFICE,
    status=201,
    secret=("paper",),
)
act(
    "field-sheet",
    "/field-sheets",
    "Print a sheet of spare tags with room to write, for when a phone is dead.",
    "office",
    _field_sheet,
    SheetPrinted,
    given=SheetOfTags,
    roles=LAB,
    status=201,
    secret=("paper",),
)
question(
    "sack-label",
    "/samples/<sample>/sack-label",
    "The label of a sample's sack.",
    _sack_label,
    None,
    asked=OnPaper,
    media=PDF,
    roles=LAB,
)
question(
    "coring-card",
    "/samples/<sample>/card",
    "The coring card: which bales, how many cores, where and how deep, and what to mind.",
    _card,
    None,
    asked=CardOn,
    media=PDF,
)
question(
    "test-page",
    "/test-page",
    "The page that shows whether a printer scales.",
    _test_page,
    None,
    asked=OnPaper,
    media=PDF,
    roles=LAB,
)
act(
    "void-run",
    "/tag-runs/<int:run>/void",
    "Make void what a print run spoilt.",
    "office",
    lambda session, act, run, **given: _codes(void_run(session, run, act, **given)),
    Codes,
    given=Spoilt,
    roles=LAB,
)
act(
    "issue-tags",
    "/tags/issue",
    "Give a person a stretch of a run to carry.",
    "office",
    _issue,
    Codes,
    given=Issuing,
    roles=LAB,
)
act(
    "count-in",
    "/tags/count-in",
    "Take back tags that were not used.",
    "office",
    lambda session, act, codes: _codes(count_in(session, codes, act)),
    Codes,
    given=Back,
    roles=LAB,
)
act("void-tag", "/tags/<code>/void", "Make a tag void that is on no bag.", "field", _void, Codes, given=Void)
act(
    "bind",
    "/samples/<sample>/tag",
    "Close the cores in a bag and bind a tag to it.",
    "field",
    _bind,
    Stands,
    given=Bound,
)
act(
    "replace-tag",
    "/samples/<sample>/tag/replace",
    "Bind a fresh tag to a bag; the old one is void.",
    "field",
    _replace,
    Stands,
    given=Replaced,
)
act(
    "seal",
    "/samples/<sample>/seal",
    "Note the numbered seal that closes the bag.",
    "field",
    _seal,
    Stands,
    given=Sealed,
)
