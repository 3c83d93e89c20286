"""The answer's parts as frozen values: what is short, what closes it, and how sure that is. answer.py makes them."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from tracker.domain.animals import Animals
from tracker.domain.cautions import Caution
from tracker.domain.feed import Feed
from tracker.domain.feeding import Limit
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import Intakes
from tracker.domain.least_cost import Mix
from tracker.domain.needs import Density, Need
from tracker.domain.units import to_places

ENOUGH, IF_EATEN, ADD, NOT_ALONE, NOT_THIS = "enough", "enough-if-eaten", "add", "not-alone", "not-this"
VERDICTS = {
    ENOUGH: "This hay alone is enough.",
    IF_EATEN: "This hay alone is enough if they eat it.",
    ADD: "This hay alone is not enough: add a supplement.",
    NOT_ALONE: "Do not feed this hay alone to this group.",
    NOT_THIS: "Do not feed this hay to this group.",
}
# NOT_THIS in the words for hay that is safe, and too poor for any supplement listed to mend.
TOO_POOR = "This hay does not carry this group, not even with one or two of the supplements listed."


@dataclass(frozen=True)
class Amount:
    """A number with two ranges: low to high over the ways of reckoning intake and the hay's margins together, and
    margin_low to margin_high by the hay's margins alone at the headline intake (95 %), None where none is known."""

    value: Decimal
    low: Decimal
    high: Decimal
    margin_low: Decimal | None = None
    margin_high: Decimal | None = None

    def times(self, factor: Decimal) -> Amount:
        """The same in another unit."""
        low, high = self.margin_low, self.margin_high
        return Amount(
            self.value * factor,
            self.low * factor,
            self.high * factor,
            None if low is None else low * factor,
            None if high is None else high * factor,
        )

    def shown(self, places: int) -> str:
        """5.6 (2.4 to 8.1), or 5.6 where there is no range."""
        value, low, high = (text(each, places) for each in (self.value, self.low, self.high))
        return f"{value}" if low == high else f"{value} ({low} to {high})"

    def as_dict(self, places: int) -> dict[str, Any]:
        """Plain texts with so many decimals."""
        return {name: text(getattr(self, name), places) for name in self.__dataclass_fields__}


@dataclass(frozen=True)
class Supply:
    """What one animal needs in a day: "energy" (Mcal of NEm), "TDN" or "protein" (lb); short below 0 is a surplus."""

    name: str
    unit: str
    need: Decimal
    supplied: Amount
    short: Amount
    met: bool


@dataclass(frozen=True)
class Supplement:
    """One feed that closes the gap by itself. as_fed, dm_lb: lb a head and day; cost: $; r: hay left for each lb.

    as_fed_spared: the amount if the animals ate as much hay as before (r = 0); None amounts: it cannot close the gap.
    limits: those that the amount comes up to or goes over; safe: it goes over none; most_as_fed: the most that is.
    """

    feed: Feed
    driver: str
    r: Decimal
    dm_lb: Amount | None
    as_fed: Amount | None
    as_fed_spared: Decimal | None
    most_as_fed: Decimal
    limits: tuple[Limit, ...]
    safe: bool
    cost: Amount | None
    diet_cp: Decimal | None
    diet_tdn: Decimal | None
    cautions: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class Answer:
    """Does this hay carry these animals, and what closes the gap. verdict: a key of VERDICTS.

    sure: what could turn the verdict; reasons: why it may not be fed; supplements: safe ones first, then cheapest;
    cheapest: one or two feeds, None where none fit or nothing has a price; cost: $ a head and day of it.
    """

    animals: Animals
    hay: Hay
    need: Need
    density: Density | None
    intakes: Intakes
    supplies: tuple[Supply, ...]
    verdict: str
    verdict_words: str
    sure: str
    reasons: tuple[str, ...]
    protein_first: bool
    supplements: tuple[Supplement, ...]
    cheapest: Mix | None
    cheapest_single: Mix | None
    cost: Amount | None
    what_to_add: str
    cautions: tuple[Caution, ...]
    warnings: tuple[str, ...]
    basis: tuple[str, ...] = field(default=())

    @property
    def tdn_over_cp(self) -> Decimal:
        return self.hay.tdn_over_cp

    @property
    def too_poor(self) -> bool:
        """Whether the hay is safe, and only too poor for any supplement listed to mend."""
        return self.verdict_words == TOO_POOR

    def as_dict(self) -> dict[str, Any]:
        """Plain values for a report or JSON: numbers are text with the digits worth showing."""
        return {
            "animals": _animals(self.animals),
            "hay": _hay(self.hay),
            "need": _need(self.need, self.density),
            "intakes": [
                {"model": one.model, "lb": text(one.lb, 1), "source": one.source}
                for one in self.intakes.models
            ],
            "intake_cap_lb": text(self.intakes.cap_lb, 1),
            "supplies": [_supply(one) for one in self.supplies],
            "verdict": self.verdict,
            "verdict_words": self.verdict_words,
            "sure": self.sure,
            "reasons": list(self.reasons),
            "too_poor": self.too_poor,
            "protein_first": self.protein_first,
            "tdn_over_cp": text(self.tdn_over_cp, 1),
            "what_to_add": self.what_to_add,
            "cheapest": mix_dict(self.cheapest),
            "cheapest_single": mix_dict(self.cheapest_single),
            "cost": self.cost.as_dict(2) if self.cost else None,
            "supplements": [_supplement(one) for one in self.supplements],
            "cautions": [
                {"topic": one.topic, "words": one.words, "source": one.source} for one in self.cautions
            ],
            "warnings": list(self.warnings),
            "basis": list(self.basis),
        }


def text(value: Decimal | None, places: int) -> str | None:
    """The value with so many decimals as text; None stays None."""
    # Adding zero takes the sign off a zero: a shortfall of -0.0 is none.
    return None if value is None else format(to_places(value, places) + 0, "f")


def mix_dict(mix: Mix | None) -> dict[str, Any] | None:
    """A mix as plain values, lb and $ a head and day."""
    if mix is None:
        return None
    return {
        "parts": [
            {
                "key": part.feed.key,
                "name": part.feed.name,
                "as_fed_lb": text(part.as_fed_lb, 2),
                "dm_lb": text(part.dm_lb, 2),
            }
            for part in mix.parts
        ],
        "cost": text(mix.cost, 2),
        "hay_dm_lb": text(mix.hay_lb, 1),
        "binding": list(mix.binding),
    }


def _animals(animals: Animals) -> dict[str, Any]:
    return {
        "kind": animals.kind,
        "head": animals.head,
        "weight_lb": text(animals.weight_lb, 0),
        "days_since_calving": animals.days_since_calving,
        "days_to_calving": animals.days_to_calving,
        "peak_milk_lb": text(animals.peak_milk, 0),
        "condition": None if animals.condition is None else format(animals.condition, "f"),
        "effective_f": None if animals.effective_f is None else format(animals.effective_f, "f"),
        "coat": animals.coat,
        "words": animals.words,
    }


def _hay(hay: Hay) -> dict[str, Any]:
    values = {name: text(getattr(hay, name), 1) for name in ("dm", "cp", "tdn", "ndf", "fat")}
    margins = {name: text(getattr(hay, name), 1) for name in ("cp_margin", "tdn_margin", "ndf_margin")}
    by = {"tdn_by": hay.tdn_by, "cp_by": hay.cp_by, "report": hay.report}
    return {**values, "sulfur": text(hay.sulfur, 2), **margins, **by}


def _need(need: Need, density: Density | None) -> dict[str, Any]:
    return {
        "nem_mcal": text(need.nem_mcal, 1),
        "cp_lb": text(need.cp_lb, 2),
        "milk_lb": text(need.milk_lb, 1),
        "cold_factor": text(need.cold_factor, 2),
        "parts": [
            {"name": part.name, "nem_mcal": text(part.nem_mcal, 1), "cp_lb": text(part.cp_lb, 2)}
            for part in need.parts
        ],
        "diet_tdn": text(density.tdn, 1) if density else None,
        "diet_cp": text(density.cp, 1) if density else None,
    }


def _supply(one: Supply) -> dict[str, Any]:
    return {
        "name": one.name,
        "unit": one.unit,
        "need": text(one.need, 2),
        "supplied": one.supplied.as_dict(2),
        "short": one.short.as_dict(2),
        "met": one.met,
    }


def _supplement(one: Supplement) -> dict[str, Any]:
    return {
        "key": one.feed.key,
        "name": one.feed.name,
        "driver": one.driver,
        "as_fed_lb": one.as_fed.as_dict(2) if one.as_fed else None,
        "dm_lb": one.dm_lb.as_dict(2) if one.dm_lb else None,
        "substitution": format(one.r, "f"),
        "as_fed_spared_lb": text(one.as_fed_spared, 2),
        "most_as_fed_lb": text(one.most_as_fed, 2),
        "limits": [limit.words for limit in one.limits],
        "safe": one.safe,
        "cost": one.cost.as_dict(2) if one.cost else None,
        "diet_cp": text(one.diet_cp, 1),
        "diet_tdn": text(one.diet_tdn, 1),
        "source": f"{one.feed.source}, {one.feed.year}",
        "own": one.feed.own,
        "cautions": list(one.cautions),
        "words": one.words,
    }
