"""A season's hay: how good it was, and how one producer's lots last through his winter."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.quantiles import Spread
from tracker.domain.season import MOST_MONTHS, SeasonPlan
from tracker.domain.season_kept import Question, changed_inputs, changed_outcome
from tracker.domain.units import number, positive
from tracker.lookups.hay_of_year import GROUPINGS, QUALITIES, Group, hay_of_year
from tracker.lookups.kept_plans import KeptLine, kept_plan, kept_plans_page
from tracker.lookups.page import Page
from tracker.lookups.season_plan import Season, season_asked
from tracker.lookups.seasons import seasons
from tracker.papers.season_plan import CAUTIONS, reasons, season_paper
from tracker.steps.keep_plan import keep_plan
from tracker.web.api.entry import PDF, Doing, act, listing, question
from tracker.web.api.fields import Moment, Strict, day, digits, one_of, shape_of, text, whole, yes_no
from tracker.web.shared.access import LEAD
from tracker.web.shared.season import now, reading, settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


class Year(Strict):
    """Which season, and by what its hay is grouped."""

    season = whole("the year of harvest; else the latest", needed=False, least=1900, most=9999)
    by = one_of("how it is grouped; by forage unless said", GROUPINGS, needed=False)


class GroupOfHay(Schema):
    """One group in one season; spread: null where it is too small to be shown."""

    quality = fields.String(required=True)
    unit = fields.String(required=True)
    group = fields.String(required=True)
    season = fields.Integer(required=True)
    formula = fields.String(required=True)
    spread = fields.Nested(shape_of(Spread), required=True, allow_none=True)


class YearTold(Schema):
    """The hay of a season beside up to four before it; lots: how many have a report."""

    season = fields.Integer(required=True)
    by = fields.String(required=True)
    lots = fields.Integer(required=True)
    groups = fields.List(fields.Nested(GroupOfHay), required=True)


class Offer(Strict):
    """A lot of somebody else's that could be had."""

    lot = whole("its number", least=1)
    price_ton = digits("$ a short ton as baled")


class PlanAsked(Doing):
    """Whose season is planned, and how."""

    producer = text("the producer's name")
    first = day("the first day of the first month")
    months = whole("for so many months; 6 unless said", needed=False, least=1, most=MOST_MONTHS)
    waste = digits("hay wasted at feeding, %; else the programme's usual", needed=False)
    one_lot = yes_no("each group eats of one lot a month")
    offers = fields.List(
        fields.Nested(Offer),
        validate=validate.Length(max=100),
        metadata={"description": "lots of others that could be had"},
    )


class PlanTold(Schema):
    """The plan as docs/season.md explains it, what is not in it and why, and the cautions that belong beside it."""

    producer = fields.String(required=True)
    plan = fields.Dict(required=True)
    reasons = fields.List(fields.String(), required=True)
    cautions = fields.List(fields.String(), required=True)


class PlanMade(PlanTold):
    """The plan, and the number it is kept under."""

    number = fields.Integer(required=True)


class PlanLine(Schema):
    """A plan that was kept; asked: what it was asked for, null where it was erased with its producer."""

    number = fields.Integer(required=True)
    producer = fields.String(required=True)
    by = fields.String(required=True)
    at = Moment(required=True)
    asked = fields.Dict(required=True, allow_none=True)


class PlanKept(PlanLine):
    """A plan as it was made: all it rests on, and what came of it."""

    rests_on = fields.Dict(required=True)
    told = fields.Dict(required=True)


class Differs(Schema):
    """One value that is otherwise now."""

    what = fields.String(required=True)
    before = fields.String(required=True)
    now = fields.String(required=True)


class PlanToday(Schema):
    """A kept plan held against today: what it rests on that is otherwise now, and what comes of that."""

    inputs = fields.List(fields.Nested(Differs), required=True)
    changed = fields.List(fields.Nested(Differs), required=True)


def _year(session: Session, season: int | None = None, by: str = "forage") -> dict[str, Any]:
    years = seasons(session)
    found = hay_of_year(session, season or (years[0] if years else now().year), by)
    groups = [_group(quality, one) for quality in QUALITIES for one in found.groups[quality.key]]
    return {"season": found.season, "by": found.by, "lots": found.lots, "groups": groups}


def _group(quality: Any, one: Group) -> dict[str, Any]:
    told = {"quality": quality.name, "unit": quality.unit, "group": one.name}
    return {**told, "season": one.season, "formula": one.formula, "spread": one.spread}


def _question(first: date, months: int = 6, one_lot: bool = False, **given: Any) -> Question:
    return Question(
        first=first,
        months=months,
        offers={one["lot"]: positive(one["price_ton"], field="price_ton") for one in given.get("offers", ())},
        waste=number(given["waste"], field="waste") if "waste" in given else None,
        one_lot=one_lot,
    )


def _reckoned(producer: str, **given: Any) -> dict[str, Any]:
    """The plan, which takes seconds, before anybody has to wait for the act that keeps it."""
    asked = _question(**given)
    with reading() as session:
        found = season_asked(session, producer, asked)
    plan = found.answer(asked)
    return {"found": found, "asked": asked, "plan": plan}


def _told(found: Season, plan: SeasonPlan) -> dict[str, Any]:
    return {
        "producer": found.producer,
        "plan": found.told(plan),
        "reasons": reasons(plan, found.left_out, found.assumed),
        "cautions": CAUTIONS,
    }


def _try(session: Session, act: Act, **given: Any) -> dict[str, Any]:
    made = _reckoned(**given)
    return _told(made["found"], made["plan"])


def _make(session: Session, act: Act, found: Season, asked: Question, plan: SeasonPlan) -> dict[str, Any]:
    paper = season_paper(found, plan, programme=settings().programme, made=now().date())
    row = keep_plan(session, found.producer, asked, found.rests_on, found.told(plan), paper, act)
    return {**_told(found, plan), "number": row.id}


def _line(one: KeptLine) -> dict[str, Any]:
    return {**vars(one), "asked": None if one.question is None else one.question.as_data()}


def _plans(session: Session, **page: Any) -> Page[dict[str, Any]]:
    found = kept_plans_page(session, **page)
    return Page(tuple(_line(one) for one in found.items), found.next)


def _kept(session: Session, plan: int) -> dict[str, Any]:
    found = kept_plan(session, plan)
    return {**_line(found.line), "rests_on": found.rests_on, "told": found.told}


def _today(session: Session, plan: int) -> dict[str, Any]:
    kept = kept_plan(session, plan)
    found = season_asked(session, kept.line.producer, kept.question)
    changed = changed_outcome(kept.told, found.told(found.answer(kept.question)))
    return {"inputs": changed_inputs(kept.rests_on, found.rests_on), "changed": changed}


question(
    "hay-of-year",
    "/hay-of-year",
    "How good the hay of a season was.",
    _year,
    YearTold,
    asked=Year,
    roles=LEAD,
)
act(
    "try-season",
    "/season-plans/preview",
    "Which lot each group of animals eats in which month, and what is to be bought. Nothing is kept.",
    "read",
    _try,
    PlanTold,
    given=PlanAsked,
    roles=LEAD,
    tries=True,
)
act(
    "plan-season",
    "/season-plans",
    "The same, kept with all it rests on.",
    "office",
    _make,
    PlanMade,
    given=PlanAsked,
    before=_reckoned,
    roles=LEAD,
    status=201,
)
listing(
    "season-plans",
    "/season-plans",
    "The plans that were kept, the oldest first.",
    _plans,
    PlanLine,
    roles=LEAD,
)
question("season-plan", "/season-plans/<int:plan>", "One plan as it was made.", _kept, PlanKept, roles=LEAD)
question(
    "season-plan-today",
    "/season-plans/<int:plan>/today",
    "A kept plan, held against what would be planned today.",
    _today,
    PlanToday,
    roles=LEAD,
)
question(
    "season-plan-pdf",
    "/season-plans/<int:plan>/pdf",
    "A kept plan on paper.",
    lambda session, plan: kept_plan(session, plan).paper,
    None,
    media=PDF,
    roles=LEAD,
)
