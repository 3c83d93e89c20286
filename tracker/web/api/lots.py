"""Producers and their lots: list, find, register, plan the coring, and record the cores."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from marshmallow import Schema, fields, validate

from tracker.domain.custody import Act, Party
from tracker.domain.lot import BALE_SHAPES, FORAGE_KINDS, KILOGRAMS, MOST_CUTTINGS, POUNDS, STORAGES
from tracker.domain.times import moment as read_moment
from tracker.lookups.find import sample_named
from tracker.lookups.lots import (
    LotLine,
    ProducerLine,
    lot_line,
    lots_page,
    parties,
    producer_line,
    producers_page,
)
from tracker.lookups.search import Found, search
from tracker.steps.add_people import add_producer
from tracker.steps.core_lot import core_lot
from tracker.steps.plan_coring import plan_coring
from tracker.steps.register_lot import NewLot, register_lot
from tracker.steps.register_lots import register_in_parts
from tracker.storage.coring import plan_in_force
from tracker.web.api.entry import Doing, act, listing, question, short_list
from tracker.web.api.fields import Strict, day, digits, moment, one_of, several, shape_of, text, whole, yes_no
from tracker.web.api.shapes import Stands, stands
from tracker.web.shared.access import LAB, OFFICE

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


class NewProducer(Doing):
    """A producer to be added."""

    name = text("as it is to be printed")
    phone = text("telephone", needed=False, most=60)
    email = text("e-mail", needed=False)
    place = text("where", needed=False)


class GivenLot(Doing):
    """A lot as it is registered."""

    producer = text("the producer's name, as it stands in the list")
    field = text("the field, as the producer calls it")
    cutting = whole("which cutting of the year", least=1, most=MOST_CUTTINGS)
    forage = one_of("the kind of forage", FORAGE_KINDS)
    harvested = day("the day of harvest; a civil date")
    bale_shape = one_of("the shape of the bales", BALE_SHAPES)
    bale_count = whole("bales in the lot", least=1)
    bale_mass = digits("mass of one bale as received, in bale_mass_unit", needed=False)
    bale_mass_unit = one_of("UCUM: pounds or kilograms", (POUNDS, KILOGRAMS), needed=False)
    storage = one_of("how it is stored", STORAGES, needed=False)
    in_parts = yes_no("make several lots of one that is too large for one sample")


class LotMade(Schema):
    """A lot that was made of what was given."""

    lot = fields.Integer(required=True)
    part = fields.String(required=True)
    bale_count = fields.Integer(required=True)


class LotsMade(Schema):
    """The lots that were registered: one, or one for each part."""

    lots = fields.List(fields.Nested(LotMade), required=True)


class Probe(Doing):
    """The probe that the coring is planned for."""

    inside_mm = digits("the probe's inner diameter, mm")
    length_mm = digits("the probe's length, mm")
    depth_mm = digits("depth of a core, mm, if not the usual", needed=False)
    probe = text("the probe's name", needed=False)
    cores = whole("so many cores, with a reason, if not the usual", needed=False, least=1, most=1000)
    reason = text("why otherwise than usual", needed=False)
    seed = whole("draw the bales from this number", needed=False, most=1_000_000)


class Planned(Schema):
    """A coring plan as docs/walk-through.md explains it; body holds bales, depth and entry."""

    lot = fields.Integer(required=True)
    version = fields.Integer(required=True)
    plan = fields.Dict(required=True)


class Bale(Strict):
    """How many cores one bale gave."""

    bale = whole("the bale's number in the plan", least=1)
    cores = whole("cores taken from it", most=1000)


class Cored(Doing):
    """What was really cored."""

    cores_taken = whole("cores in the bag, if not as planned", needed=False, most=1000)
    bales = fields.List(
        fields.Nested(Bale),
        validate=validate.Length(max=500),
        metadata={"description": "cores by bale, if other bales were cored than planned"},
    )
    entry = one_of("where the probe went in, if not as planned", ("side", "end"), needed=False)
    started_at = moment("when the coring began; `at` is when it ended")
    deviations = several(text("one"), "what was done otherwise than planned", needed=False, most=20)
    composite_g = digits("grams of the bag, if it was weighed in the field", needed=False)
    weather = text("the weather", needed=False)


class Words(Strict):
    """What is looked for."""

    words = text("part of a code, a name, a field: what people remember")


def _add_producer(session: Session, act: Act, **given: Any) -> ProducerLine:
    return producer_line(session, add_producer(session, now=act.now, **given).id)


def _register(session: Session, act: Act, **given: Any) -> dict[str, Any]:
    in_parts = given.pop("in_parts", False)
    new = NewLot(**given)
    rows = register_in_parts(session, new, act) if in_parts else (register_lot(session, new, act),)
    return {"lots": [{"lot": row.id, "part": row.part, "bale_count": row.bale_count} for row in rows]}


def _plan(session: Session, act: Act, lot: int, **given: Any) -> dict[str, Any]:
    row = plan_coring(session, lot, act, **given)
    return {"lot": lot, "version": row.version, "plan": row.body}


def _plan_of(session: Session, sample: str) -> dict[str, Any]:
    found = sample_named(session, sample)
    row = plan_in_force(session, found.id)
    return {"lot": found.lot_id, "version": row.version, "plan": row.body}


def _cored(session: Session, act: Act, sample: str, **given: Any) -> dict[str, Any]:
    found = sample_named(session, sample)
    if given.get("started_at"):
        given["started_at"] = read_moment(given["started_at"], field="started_at")
    if "bales" in given:
        given["bales"] = {one["bale"]: one["cores"] for one in given["bales"]}
    return stands(session, found, core_lot(session, found, act, **given))


listing(
    "producers", "/producers", "The producers by name.", producers_page, shape_of(ProducerLine), roles=LAB
)
act(
    "add-producer",
    "/producers",
    "Add a producer.",
    "office",
    _add_producer,
    shape_of(ProducerLine),
    given=NewProducer,
    roles=OFFICE,
    status=201,
)
short_list(
    "people",
    "/people",
    "Everyone and everywhere that can hold a sample.",
    lambda session: parties(session),
    shape_of(Party),
    key=lambda one: (one.key,),
)
listing(
    "lots",
    "/lots",
    "The lots by number, with the state of each one's newest sample.",
    lots_page,
    shape_of(LotLine),
)
question(
    "lot",
    "/lots/<int:lot>",
    "One lot.",
    lambda session, lot: lot_line(session, lot),
    shape_of(LotLine),
)
act("register-lot", "/lots", "Register a lot.", "field", _register, LotsMade, given=GivenLot, status=201)
question(
    "search",
    "/search",
    "Lots, tags and producers by what people remember.",
    lambda session, words: search(session, words),
    shape_of(Found),
    asked=Words,
)
act(
    "plan-coring",
    "/lots/<int:lot>/plans",
    "Draw the lot's coring plan.",
    "field",
    _plan,
    Planned,
    given=Probe,
    status=201,
)
question("plan", "/samples/<sample>/plan", "The coring plan in force.", _plan_of, Planned)
act("core", "/samples/<sample>/cores", "Record what was really cored.", "field", _cored, Stands, given=Cored)
