"""A season's hay: how good it was, and how one producer's lots last through his winter."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.quantiles import Spread
from tracker.domain.season import MOST_MONTHS
from tracker.domain.season_kept import Question
from tracker.domain.season_said import season_dict
from tracker.domain.units import number, positive
from tracker.lookups.hay_of_year import GROUPINGS, QUALITIES, Group, hay_of_year
from tracker.lookups.kept_plans import KeptLine, kept_plan, kept_plans
from tracker.lookups.season_plan import season_asked
from tracker.lookups.seasons import seasons
from tracker.papers.season_plan import CAUTIONS, paper_of, reasons
from tracker.steps.keep_plan import keep_plan
from tracker.web.api.entry import act, question, short_list
from tracker.web.api.fields import Moment, Strict, day, digits, one_of, shape_of, text, whole, yes_no
from tracker.web.shared.access import LEAD
from tracker.web.shared.season import now, settings

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


class PlanAsked(Strict):
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
    """The plan as docs/season.md explains it, what is not in it and why, and the cautions that belong beside it.

    number: what it is kept under.
    """

    number = fields.Integer(required=True)
    producer = fields.String(required=True)
    plan = fields.Dict(required=True)
    reasons = fields.List(fields.String(), required=True)
    cautions = fields.List(fields.String(), required=True)


class WhosePlans(Strict):
    """Whose plans."""

    producer = text("a producer's name; else of everybody", needed=False)


class KeptLineTold(Schema):
    """A plan that was made; asked: the question, null where it was erased with its producer."""

    number = fields.Integer(required=True)
    producer = fields.String(required=True)
    by = fields.String(required=True)
    at = Moment(required=True)
    asked = fields.Dict(required=True, allow_none=True)


class KeptPlanTold(KeptLineTold):
    """The same with every value it rests on, and what came of it; docs/season.md explains both."""

    rests_on = fields.Dict(required=True)
    told = fields.Dict(required=True)


def _kept_plans(session: Session, producer: str | None = None) -> list[dict[str, Any]]:
    return [_kept_line(line) for line in kept_plans(session, producer)]


def _kept_plan(session: Session, number: int) -> dict[str, Any]:
    found = kept_plan(session, number)
    return {**_kept_line(found.line), "rests_on": found.rests_on, "told": found.told}


def _kept_line(line: KeptLine) -> dict[str, Any]:
    asked = line.question.as_data() if line.question else None
    return {"number": line.number, "producer": line.producer, "by": line.by, "at": line.at, "asked": asked}


def _year(session: Session, season: int | None = None, by: str = "forage") -> dict[str, Any]:
    years = seasons(session)
    found = hay_of_year(session, season or (years[0] if years else now().year), by)
    groups = [_group(quality, one) for quality in QUALITIES for one in found.groups[quality.key]]
    return {"season": found.season, "by": found.by, "lots": found.lots, "groups": groups}


def _group(quality: Any, one: Group) -> dict[str, Any]:
    told = {"quality": quality.name, "unit": quality.unit, "group": one.name}
    return {**told, "season": one.season, "formula": one.formula, "spread": one.spread}


def _plan(
    session: Session, act: Act, producer: str, first: date, months: int = 6, **given: Any
) -> dict[str, Any]:
    offers: dict[int, Decimal] = {
        one["lot"]: positive(one["price_ton"], field="price_ton") for one in given.get("offers", ())
    }
    waste = number(given["waste"], field="waste") if "waste" in given else None
    question = Question(first, months, offers, waste, given.get("one_lot", False))
    found = season_asked(session, producer, question)
    plan = found.answer(question)
    paper = paper_of(found, plan, programme=settings().programme, made=now().date())
    kept = keep_plan(session, producer, question, found.rests_on, found.told(plan), paper, act)
    return {
        "number": kept.id,
        "producer": found.producer,
        "plan": season_dict(plan),
        "reasons": reasons(plan, found.left_out, found.assumed),
        "cautions": CAUTIONS,
    }


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
    "plan-season",
    "/season-plans",
    "Which lot each group of animals eats in which month, and what is to be bought. The plan is kept.",
    "office",
    _plan,
    PlanTold,
    given=PlanAsked,
    roles=LEAD,
)
short_list(
    "season-plans",
    "/season-plans",
    "The season plans that were made.",
    _kept_plans,
    KeptLineTold,
    key=lambda one: (one["number"],),
    asked=WhosePlans,
    roles=LEAD,
)
question(
    "season-plan",
    "/season-plans/<int:number>",
    "A season plan as it was made, with all it rests on.",
    _kept_plan,
    KeptPlanTold,
    roles=LEAD,
)
