"""The bench: balances and their lines, weighings, the oven and the mill."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.grinding import GRIND_STAGES, SAFETY
from tracker.domain.intake import WEIGHING_KINDS
from tracker.domain.units import number
from tracker.lookups.balances import BalanceToday, Batch, balances_today, parsed, reading_on, tare_batch
from tracker.lookups.bench_sack import sack_of
from tracker.lookups.find import sample_named
from tracker.lookups.oven_bench import bench_load, open_loads, sheet_of
from tracker.lookups.oven_load import Load, load_named
from tracker.papers.oven_sheet import oven_sheet
from tracker.steps.check_balance import check_balance
from tracker.steps.close_load import close_load, lose_from_load, set_aside
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.keep_tare_batch import keep_tare_batch
from tracker.steps.weigh_dry import weigh_dry
from tracker.steps.weigh_in import weigh
from tracker.web.api.custody import on_sample
from tracker.web.api.entry import PDF, Doing, act, question, short_list
from tracker.web.api.fields import (
    Digits,
    Moment,
    Strict,
    digits,
    one_of,
    several,
    shape_of,
    text,
    whole,
    yes_no,
)
from tracker.web.api.shapes import Stands, stands
from tracker.web.shared.access import LAB
from tracker.web.shared.season import now

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Weighed(Doing):
    """One reading of a balance."""

    what = one_of("tare, fresh, dry, or dry again for a blind second weighing", WEIGHING_KINDS)
    grams = digits("what the balance shows, with all its digits")
    balance = text("which balance", most=60)
    raw = text("the line that a serial balance sent; it has to say the same weight", needed=False)
    again = digits("the same weight typed a second time, where a person typed it", needed=False)
    zeroed = yes_no("the balance was zeroed with the sack on it")
    batch = whole(
        "the batch of empty sacks whose mean is the tare, with a fresh weight", needed=False, least=1
    )


class Sack(Strict):
    """One empty sack on the balance."""

    grams = digits("what the balance shows, with all its digits")
    raw = text("the line that a serial balance sent; it has to say the same weight", needed=False)
    again = digits("the same weight typed a second time, where a person typed it", needed=False)


class Sacks(Doing):
    """Empty sacks of one batch, weighed one after the other."""

    sacks = fields.List(
        fields.Nested(Sack),
        required=True,
        validate=validate.Length(min=1, max=100),
        metadata={"description": "what each of them weighs"},
    )
    balance = text("which balance", most=60)


class SacksTold(Schema):
    """A batch of empty sacks: its number, and mean and SD in grams; remarks: what is to be said of them."""

    batch = fields.Integer(required=True, attribute="id")
    grams = fields.List(Digits(), required=True, attribute="readings")
    mean = Digits(required=True)
    sd = Digits(required=True)
    remarks = fields.List(fields.String(), required=True)


class Line(Doing):
    """What a serial balance sent."""

    raw = text("the line as the balance sent it")


class Read(Schema):
    """What a balance's line says. stable: null where the line does not say."""

    grams = Digits(required=True)
    stable = fields.Boolean(required=True, allow_none=True)


class Checked(Doing):
    """What a balance showed on its daily check."""

    zero = digits("what it shows empty, g")
    shown = digits("what it shows with the check weight on it, g")


class Check(Schema):
    """A check of a balance: whether it passed, and which weighings since the last good one are put on hold."""

    balance = fields.String(required=True)
    passed = fields.Boolean(required=True)
    held = fields.Integer(required=True)


class Oven(Doing):
    """A load that goes into the oven."""

    name = text("a name for the load", most=60)
    samples = several(text("a tag's code", most=20), "sacks in the order of their positions", most=200)
    oven = text("which oven", most=60)
    set_celsius = digits("what the oven is set to, degrees Celsius")


class LoadTold(Schema):
    """A load of the oven; cautions: what to mind, always beside it."""

    oven_load = fields.Nested(shape_of(Load), required=True)
    cautions = fields.List(fields.String(), required=True)


class OfLoad(Doing):
    """A sack of the load, and what is said of it."""

    sample = text("the tag's code, or `lot 12`", most=20)
    reason = text("why it is not weighed dry with the load, or what is known of its loss")


class LoadClosed(Schema):
    """A load that is closed; again: places that were to be weighed a second time and were not."""

    name = fields.String(required=True)
    again = fields.List(fields.Integer(), required=True)


class LoadLine(Schema):
    """A load that is not closed. unsettled: places of which nothing is said yet."""

    name = fields.String(required=True)
    oven = fields.String(required=True)
    in_at = Moment(required=True)
    out_at = Moment(required=True, allow_none=True)
    due_at = Moment(required=True, allow_none=True)
    sacks = fields.Integer(required=True)
    unsettled = fields.List(fields.Integer(), required=True)


class Ground(Doing):
    """One pass through the mill."""

    stage = one_of("which pass", GRIND_STAGES)
    screen_mm = digits("the screen, mm; else the programme's usual one", needed=False)
    mill = text("which mill", needed=False, most=60)
    cleaned = yes_no("whether the mill was cleaned before; yes unless said")
    dm = digits("dry matter by a moisture meter, %, if measured", needed=False)


def _weigh(session: Session, act: Act, sample: str, what: str, **given: Any) -> dict[str, Any]:
    found = sample_named(session, sample)
    balance, raw = given["balance"], given.get("raw", "")
    read = reading_on(session, balance, given["grams"], raw=raw, again=given.get("again"))
    more = {"balance": balance, "zeroed": given.get("zeroed", False), "raw": read.raw}
    if what == "fresh" and "batch" in given:
        sacks = tare_batch(session, given["batch"]).readings
        # The tare is an entry of its own, before the weight that rests on it.
        weigh(session, found, "tare", sacks[0], act, balance=balance, batch=sacks)
    load = sack_of(session, found).load if what in ("dry", "dry again") else None
    if load:
        event = weigh_dry(session, load, found, what, read.grams, act, **more)
    else:
        event = weigh(session, found, what, read.grams, act, **more)
    return stands(session, found, event)


def _check(session: Session, act: Act, balance: str, zero: str, shown: str) -> dict[str, Any]:
    row, held = check_balance(session, balance, number(zero, field="zero"), number(shown, field="shown"), act)
    return {"balance": balance, "passed": row.passed, "held": len(held)}


def _told(session: Session, name: str) -> dict[str, Any]:
    return {"oven_load": load_named(session, name), "cautions": [one.words for one in SAFETY["oven"]]}


def _oven_in(session: Session, act: Act, name: str, samples: list[str], **given: Any) -> dict[str, Any]:
    rows = [sample_named(session, code) for code in samples]
    return _told(session, load_oven(session, name, rows, act, **given).name)


def _oven_out(session: Session, act: Act, load: str) -> dict[str, Any]:
    row, remarks = empty_oven(session, load, act)
    told = _told(session, row.name)
    return {**told, "cautions": [*told["cautions"], *(one.words for one in remarks)]}


short_list(
    "balances",
    "/balances",
    "The balances, and whether today's check has passed.",
    lambda session: balances_today(session, now().astimezone()),
    shape_of(BalanceToday),
    key=lambda one: (one.name,),
    roles=LAB,
)
act(
    "read-line",
    "/balances/<balance>/lines",
    "What a balance's line says. Nothing is kept.",
    "intake",
    lambda session, act, balance, raw: parsed(session, balance, raw),
    Read,
    given=Line,
    roles=LAB,
    tries=True,
)
act(
    "check-balance",
    "/balances/<balance>/checks",
    "Keep the day's check.",
    "intake",
    _check,
    Check,
    given=Checked,
    roles=LAB,
)
act(
    "weigh",
    "/samples/<sample>/weighings",
    "Keep one reading of a balance.",
    "intake",
    _weigh,
    Stands,
    given=Weighed,
    roles=LAB,
)
act(
    "oven-in",
    "/loads",
    "Put sacks in the oven as one load.",
    "intake",
    _oven_in,
    LoadTold,
    given=Oven,
    roles=LAB,
    status=201,
)


def _sacks(session: Session, act: Act, sacks: list[dict[str, str]], balance: str) -> Batch:
    readings = [
        reading_on(session, balance, one["grams"], raw=one.get("raw", ""), again=one.get("again")).grams
        for one in sacks
    ]
    row, _ = keep_tare_batch(session, readings, act, balance=balance)
    return tare_batch(session, row.id)


def _set_aside(session: Session, act: Act, load: str, sample: str, reason: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    return stands(session, found, set_aside(session, load, found, act, reason=reason))


def _lost(session: Session, act: Act, load: str, sample: str, reason: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    return stands(session, found, lose_from_load(session, load, found, act, circumstances=reason))


def _close(session: Session, act: Act, load: str) -> dict[str, Any]:
    close_load(session, load, act)
    again = [row.position for row in bench_load(session, load).rows if row.again]
    return {"name": load, "again": again}


def _open_loads(session: Session) -> list[dict[str, Any]]:
    return [
        {
            **vars(one.load),
            "sacks": one.sacks,
            "unsettled": list(one.unsettled),
        }
        for one in open_loads(session)
    ]


def _sheet(session: Session, load: str) -> bytes:
    file = BytesIO()
    oven_sheet(file, sheet_of(bench_load(session, load)))
    return file.getvalue()


act(
    "tare-batch",
    "/tare-batches",
    "Keep the mean of several empty sacks of one batch, to serve as the tare of the sacks that follow.",
    "intake",
    _sacks,
    SacksTold,
    given=Sacks,
    roles=LAB,
    status=201,
)
short_list(
    "loads",
    "/loads",
    "The oven loads that are not closed.",
    _open_loads,
    LoadLine,
    key=lambda one: (one["name"],),
    roles=LAB,
)
act(
    "set-aside-sack",
    "/loads/<load>/set-aside",
    "Say why a sack of the load is not weighed dry with it; it goes on hold.",
    "intake",
    _set_aside,
    Stands,
    given=OfLoad,
    roles=LAB,
)
act(
    "lose-sack",
    "/loads/<load>/lost",
    "Say that a sack of the load is lost.",
    "intake",
    _lost,
    Stands,
    given=OfLoad,
    roles=LAB,
)
act(
    "close-load",
    "/loads/<load>/close",
    "Close a load; refused while nothing is said of a sack.",
    "intake",
    _close,
    LoadClosed,
    roles=LAB,
)
question(
    "oven-sheet", "/loads/<load>/sheet", "The load's sheet on paper.", _sheet, None, media=PDF, roles=LAB
)
question(
    "load", "/loads/<load>", "One load.", lambda session, load: _told(session, load), LoadTold, roles=LAB
)
act(
    "oven-out",
    "/loads/<load>/out",
    "Take a whole load out of the oven.",
    "intake",
    _oven_out,
    LoadTold,
    roles=LAB,
)
act(
    "grind",
    "/samples/<sample>/grinds",
    "Record one pass through the mill.",
    "lab",
    on_sample(grind, "stage"),
    Stands,
    given=Ground,
    roles=LAB,
)
