"""The lot: hay of one field and one cutting, and how much of it one sample may speak for.

A lot is one cutting of one field of one kind of forage, of like maturity (Putnam & Orloff, Recommended
Principles for Proper Hay Sampling, National Forage Testing Association).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from tracker.domain.practice import COMMON, Practice
from tracker.domain.times import day
from tracker.domain.units import GRAMS_PER_POUND, positive, short_tons, to_places, whole
from tracker.errors import Refused

ROUND, LARGE_SQUARE, SMALL_SQUARE = "round", "large square", "small square"
BALE_SHAPES = (ROUND, LARGE_SQUARE, SMALL_SQUARE)

# The forage class decides which equations for energy and intake apply to the lot.
FORAGE_KINDS = {
    "alfalfa": "legume",
    "clover": "legume",
    "alfalfa-grass": "legume-grass",
    "orchardgrass": "cool grass",
    "tall fescue": "cool grass",
    "timothy": "cool grass",
    "brome": "cool grass",
    "mixed grass": "cool grass",
    "small grain": "cool grass",
    "bermudagrass": "warm grass",
    "bahiagrass": "warm grass",
}

BARN, WRAPPED = "barn", "wrapped"
STORAGES = (
    BARN,
    "covered on ground",
    "covered and raised",
    "outside on ground",
    "outside raised",
    WRAPPED,
)

POUNDS, KILOGRAMS = "[lb_av]", "kg"
MOST_CUTTINGS = 12


@dataclass(frozen=True)
class BaleMass:
    """Mass of one bale in pounds as received: the plausible range and the usual bale of that shape."""

    least: Decimal
    usual: Decimal
    most: Decimal


# Usual: Government of Alberta, Bale moisture (from Collins 2004): small 60, round 5 x 5 ft 1,300, large
# 4 x 4 x 8 ft 1,800 lb. The ranges go somewhat beyond what is published (round 500 to 1,900, large 900 to
# 2,000, small 40 to 90 lb), and catch a bale mass typed in the other unit or for the other shape.
BALE_MASSES = {
    ROUND: BaleMass(Decimal(300), Decimal(1300), Decimal(2200)),
    LARGE_SQUARE: BaleMass(Decimal(500), Decimal(1800), Decimal(2600)),
    SMALL_SQUARE: BaleMass(Decimal(25), Decimal(60), Decimal(150)),
}


@dataclass(frozen=True)
class LotFacts:
    """What is known of a lot. bale_mass is the mean of one bale as received, as given, in bale_mass_unit
    ("[lb_av]" or "kg"); None when no bale was weighed. storage is "" when nobody said."""

    field_name: str
    cutting: int
    forage_kind: str
    harvest_date: date
    bale_shape: str
    bale_count: int
    bale_mass: Decimal | None = None
    bale_mass_unit: str = POUNDS
    storage: str = ""

    @property
    def forage_class(self) -> str:
        return FORAGE_KINDS[self.forage_kind]


def checked(
    *,
    field_name: str,
    cutting: str | int,
    forage_kind: str,
    harvest_date: str | date,
    bale_shape: str,
    bale_count: str | int,
    today: date,
    bale_mass: str | Decimal | None = None,
    bale_mass_unit: str = POUNDS,
    storage: str = "",
) -> LotFacts:
    """The facts of a lot from plain values; today is the civil date at the office.

    Raises Refused `no-field-name`, `not-a-count`, `not-a-cutting`, `unknown-forage-kind`, `not-a-date`,
    `harvest-in-future`, `unknown-bale-shape`, `implausible-bale-mass`, `unknown-storage`, `unknown-unit`, and
    what units.positive raises.
    """
    shape = read_shape(bale_shape, field="bale_shape")
    mass = None if bale_mass in (None, "") else read_bale_mass(str(bale_mass), bale_mass_unit, shape)
    return LotFacts(
        field_name=_named(field_name),
        cutting=read_cutting(cutting, field="cutting"),
        forage_kind=read_forage(forage_kind, field="forage_kind"),
        harvest_date=_harvested(day(harvest_date, field="harvest_date"), today),
        bale_shape=shape,
        bale_count=whole(bale_count, field="bale_count", least=1),
        bale_mass=mass,
        bale_mass_unit=bale_mass_unit,
        storage=read_storage(storage, field="storage"),
    )


def read_shape(text: str, *, field: str) -> str:
    """One of BALE_SHAPES, however spaced, hyphened or capitalised. Raises Refused `unknown-bale-shape`."""
    return _one_of(text.replace("-", " "), BALE_SHAPES, "unknown-bale-shape", "a bale shape", field)


def read_forage(text: str, *, field: str) -> str:
    """One of FORAGE_KINDS, however spaced or capitalised. Raises Refused `unknown-forage-kind`."""
    return _one_of(text, tuple(FORAGE_KINDS), "unknown-forage-kind", "a kind of forage known here", field)


def read_storage(text: str, *, field: str) -> str:
    """One of STORAGES, or "" when nobody said. Raises Refused `unknown-storage`."""
    return _one_of(text, STORAGES, "unknown-storage", "a way of storing known here", field) if text else ""


def read_cutting(text: str | int, *, field: str) -> int:
    """The cutting of the season, 1 to 12. Raises Refused `not-a-count` or `not-a-cutting`."""
    cutting = whole(text, field=field, least=1)
    if cutting > MOST_CUTTINGS:
        raise Refused(
            "not-a-cutting",
            f"{cutting} is no cutting of one season.",
            field=field,
            remedy="First cutting is 1, second is 2.",
        )
    return cutting


def read_bale_mass(text: str | Decimal, unit: str, shape: str, *, field: str = "bale_mass") -> Decimal:
    """The mean mass of one bale, digits kept, if a bale of that shape can weigh so much.

    Raises Refused `unknown-unit`, `implausible-bale-mass`, and what units.positive raises.
    """
    value = positive(text, field=field)
    range_ = BALE_MASSES[shape]
    if not range_.least <= _pounds(value, unit) <= range_.most:
        raise Refused(
            "implausible-bale-mass",
            f"{value} {_said(unit)} is not the mass of one {shape} bale "
            f"({range_.least} to {range_.most} lb).",
            field=field,
            remedy="Give the mass of one bale, not of the load, and check the unit and the bale shape.",
        )
    return value


def bale_pounds(facts: LotFacts) -> Decimal:
    """Pounds of one bale as received: as given, else the usual bale of that shape (see mass_is_assumed)."""
    if facts.bale_mass is None:
        return BALE_MASSES[facts.bale_shape].usual
    return _pounds(facts.bale_mass, facts.bale_mass_unit)


def mass_is_assumed(facts: LotFacts) -> bool:
    """Whether no bale was weighed, so that masses rest on the usual bale."""
    return facts.bale_mass is None


def mass_short_tons(facts: LotFacts) -> Decimal:
    """The lot in short tons as received."""
    return short_tons(bale_pounds(facts) * facts.bale_count)


def size_check(facts: LotFacts, practice: Practice = COMMON) -> None:
    """Raises Refused `lot-too-large`, with a split on offer, when one sample cannot speak for the lot."""
    tons, limit = _weighed(facts, facts.bale_count, practice), practice.number("lot_limit")
    if tons <= limit:
        return
    parts = split_offer(facts, practice)
    assumed = f", taking {bale_pounds(facts)} lb a bale" if mass_is_assumed(facts) else ""
    raise Refused(
        "lot-too-large",
        f"{facts.bale_count} bales are about {to_places(tons, 0)} short tons "
        f"{practice.word('lot_limit_basis')}{assumed}; one sample may speak for {limit}.",
        field="bale_count",
        remedy=f"Register {len(parts)} lots of {_listed(parts)} bales, and sample each by itself.",
    )


def split_offer(facts: LotFacts, practice: Practice = COMMON) -> tuple[int, ...]:
    """Bales in each part, largest first, as even as can be, as few parts as the limit allows.

    The sum is the lot's bale count. One bale is the smallest part, whatever it weighs.
    """
    count, limit, parts = facts.bale_count, practice.number("lot_limit"), 1
    while parts < count and _weighed(facts, -(-count // parts), practice) > limit:
        parts += 1
    each, over = divmod(count, parts)
    return tuple(each + 1 if part < over else each for part in range(parts))


def _weighed(facts: LotFacts, bales: int, practice: Practice) -> Decimal:
    """Short tons of so many bales, on the basis that the limit is weighed as."""
    tons = short_tons(bale_pounds(facts) * bales)
    if practice.word("lot_limit_basis") == "dry matter":
        return tons * practice.number("assumed_lot_dm") / 100
    return tons


def _pounds(value: Decimal, unit: str) -> Decimal:
    if unit == POUNDS:
        return value
    if unit == KILOGRAMS:
        return value * 1000 / GRAMS_PER_POUND
    raise Refused(
        "unknown-unit",
        f"{unit!r} is not a unit for bales.",
        field="bale_mass_unit",
        remedy=f"Write {POUNDS} or {KILOGRAMS}.",
    )


def _said(unit: str) -> str:
    return "lb" if unit == POUNDS else unit


def _named(text: str) -> str:
    name = " ".join(text.split())
    if name:
        return name
    raise Refused(
        "no-field-name",
        "The field has no name.",
        field="field_name",
        remedy="Write the name its owner uses, or where it lies.",
    )


def _harvested(harvest_date: date, today: date) -> date:
    if harvest_date > today:
        raise Refused(
            "harvest-in-future",
            f"{harvest_date.isoformat()} is still to come.",
            field="harvest_date",
            remedy="Give the day the hay was cut; check the year.",
        )
    return harvest_date


def _one_of(text: str, words: tuple[str, ...], code: str, what: str, field: str) -> str:
    said = " ".join(text.replace("_", " ").split()).lower()
    if said not in words:
        raise Refused(
            code, f"{text!r} is not {what}.", field=field, remedy=f"Write one of: {', '.join(words)}."
        )
    return said


def _listed(counts: tuple[int, ...]) -> str:
    texts = [str(count) for count in counts]
    return f"{', '.join(texts[:-1])} and {texts[-1]}" if len(texts) > 1 else texts[0]
