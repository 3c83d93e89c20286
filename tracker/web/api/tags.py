"""Tags: print them, bind them, replace them, make them void, and know who carries which."""

from __future__ import annotations

from base64 import b64encode
from io import BytesIO
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validates_schema
from marshmallow import ValidationError as Wrong

from labels import payload
from tracker.lookups.find import sample_named
from tracker.lookups.tag_owner import TagOwner, tag_owner
from tracker.lookups.tag_rolls import rolls_page
from tracker.papers.tag_sheet import Layout, Office, write_tags
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.issue_tags import count_in, issue_tags
from tracker.steps.print_tags import print_tags, void_run, void_tag
from tracker.storage.people import party
from tracker.web.api.entry import Doing, act, listing, question
from tracker.web.api.fields import key, several, shape_of, text, whole
from tracker.web.api.shapes import Codes, Stands, stands
from tracker.web.shared.access import LAB
from tracker.web.shared.season import settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act

MOST = 500


class Printing(Doing):
    """Tags to be printed."""

    lots = several(whole("a lot's number", least=1), "a tag for each of these lots", needed=False, most=MOST)
    roll = whole("so many tags for lots that are not known yet", needed=False, most=MOST)
    stock = text("what is in the printer; a4-2x4 unless said", needed=False, most=40)
    start = whole("first cell of a part-used sheet", needed=False, least=1, most=1000)

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
    told = settings()
    layout = Layout(given.get("stock") or "a4-2x4", given.get("start", 1))
    wanted = [*given.get("lots", ()), *[None] * given.get("roll", 0)]
    run, printed = print_tags(session, wanted, act, base_url=told.base_url, layout=layout.as_dict())
    file = BytesIO()
    office = Office(told.programme, told.phone, told.base_url)
    write_tags(file, office, run.id, [(one.tag.code, one.token) for one in printed], layout)
    paper = b64encode(file.getvalue()).decode()
    return {"run": run.id, "codes": [payload.shown(one.tag.code) for one in printed], "paper": paper}


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
