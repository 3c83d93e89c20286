"""How much of the hay the animals eat: three published ways of reckoning it side by side, or bales counted.

This is the largest uncertainty of the whole answer: between the three the amount of a supplement can differ
fourfold. So the NRC equation heads, the others give the range, and bales that somebody has counted replace all
three.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.animals import Animals
from tracker.domain.hay import Hay
from tracker.domain.needs import equation_intake_lb
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import positive, to_places, whole
from tracker.errors import Refused

EQUATION, FIBER, TABLE, COUNTED = "NRC equation", "fiber limit", "cow table", "bales counted"
SOURCES = {
    EQUATION: "NRC 1996, from memory; low by 14 to 17 % in recent data (Oklahoma State Univ.)",
    FIBER: "NDF of 1.2 % of body weight: Davis, Univ. of Missouri; looks at nothing but fiber",
    TABLE: "Hibberd & Thrift 1992, Oklahoma State Univ. Beef Cattle Manual p. 133; high for dry cows (Lalman 2024)",
    COUNTED: "bales fed, less what was wasted",
}
# From this TDN on: % of body weight a day for dry and for milking animals.
_TABLE = (
    (Decimal(59), Decimal("2.5"), Decimal("2.7"), False),
    (Decimal(52), Decimal("2.2"), Decimal("2.5"), True),
    (Decimal(0), Decimal("1.8"), Decimal("2.2"), True),
)


@dataclass(frozen=True)
class Eaten:
    """One way of reckoning: lb of hay dry matter that one animal eats in a day if nothing limits it."""

    model: str
    lb: Decimal
    source: str


@dataclass(frozen=True)
class Intakes:
    """All ways, the headline first. cap_lb: most that is eaten while protein is short, None where it is not."""

    models: tuple[Eaten, ...]
    cap_lb: Decimal | None = None

    @property
    def headline(self) -> Decimal:
        return self.models[0].lb

    @property
    def low(self) -> Decimal:
        return min(one.lb for one in self.models)

    @property
    def high(self) -> Decimal:
        return max(one.lb for one in self.models)

    @property
    def counted(self) -> bool:
        """Whether somebody has counted what is fed."""
        return self.models[0].model == COUNTED

    def alone(self, lb: Decimal) -> Decimal:
        """What is eaten of it with nothing fed beside it."""
        return lb if self.cap_lb is None else min(lb, self.cap_lb)


@dataclass(frozen=True)
class BaleCount:
    """Bales fed to a group. bale_lb: mean mass as fed; waste_percent: share that is not eaten."""

    bales: Decimal
    days: int
    bale_lb: Decimal
    head: int
    waste_percent: Decimal


def eaten(animals: Animals, hay: Hay, practice: Practice = COMMON) -> Intakes:
    """The three ways for these animals and this hay, the NRC equation at their head."""
    body = animals.weight_lb
    reckoned = {
        EQUATION: equation_intake_lb(animals, hay.tdn),
        FIBER: Decimal("1.2") * body / hay.ndf,
        TABLE: table_share(hay.tdn, animals.milking) * body / 100,
    }
    models = tuple(Eaten(model, lb, SOURCES[model]) for model, lb in reckoned.items())
    starved = hay.cp < practice.number("microbe_protein") and not animals.milking
    return Intakes(models, practice.number("poor_hay_intake") * body / 100 if starved else None)


def table_share(tdn: Decimal, milking: bool) -> Decimal:
    """% of body weight eaten by the cow table: TDN under 52, 52 to 59, over 59."""
    for least, dry, milk, inclusive in _TABLE:
        if tdn > least or (inclusive and tdn == least):
            return milk if milking else dry
    raise AssertionError("TDN is never below zero")


def counted(count: BaleCount, hay: Hay) -> Intakes:
    """What the bales say: it stands in place of the three."""
    fed = count.bales * count.bale_lb / count.days / count.head
    lb = fed * hay.dm / 100 * (1 - count.waste_percent / 100)
    return Intakes((Eaten(COUNTED, lb, SOURCES[COUNTED]),))


def checked_intakes(animals: Animals, intakes: Intakes) -> Intakes:
    """What was counted, if animals can eat so much: 0.5 to 4 % of their weight, our choice.

    Raises Refused `implausible-intake`.
    """
    share = 100 * intakes.headline / animals.weight_lb
    if not Decimal("0.5") <= share <= 4:
        raise Refused(
            "implausible-intake",
            f"By that count each eats {to_places(intakes.headline, 1)} lb of dry hay a day, "
            f"{to_places(share, 1)} % of its weight.",
            field="bales",
            remedy="Check bales, days, the mass of a bale, the head that eat of it, and the waste.",
        )
    return intakes


def checked_count(
    *,
    bales: str | Decimal,
    days: str | int,
    bale_lb: str | Decimal,
    head: str | int,
    waste_percent: str | Decimal | None = None,
    practice: Practice = COMMON,
) -> BaleCount:
    """A count from plain values; waste is the programme's usual one if nobody said.

    Raises Refused `implausible-waste`, and what units.positive and whole raise.
    """
    waste = practice.number("feeding_waste")
    if waste_percent not in (None, ""):
        waste = positive(str(waste_percent), field="waste") if str(waste_percent).strip("0.") else Decimal(0)
    if waste >= 60:
        raise Refused(
            "implausible-waste",
            f"{waste} % of the hay is said to be wasted.",
            field="waste",
            remedy="Give the share that is not eaten: usually 5 to 30 %.",
        )
    return BaleCount(
        positive(str(bales), field="bales"),
        whole(str(days), field="days", least=1),
        positive(str(bale_lb), field="bale_lb"),
        whole(str(head), field="head", least=1),
        waste,
    )
