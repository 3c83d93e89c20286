"""The animals that the hay is for: kind, weight, stage, condition and cold.

Stage is days: since calving for a cow that milks, to calving for one that carries, both for one that does both.
Growing cattle are left out: no published table was at hand to hold their equations against (docs/feeding.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.units import number, to_places, whole
from tracker.errors import Refused

COW, HEIFER, BULL = "cow", "first-calf heifer", "bull"
KINDS = (COW, HEIFER, BULL)

# Days: a cow that calves once a year conceives 82 days after calving and carries 283 (common practice); calves are
# weaned at about seven months.
YEAR, GESTATION, WEANING = 365, 283, 205
REBRED = YEAR - GESTATION

# lb at the peak of lactation. Cow: a usual beef cow (common practice). Heifer: Univ. of Arkansas MP391, 2018, which
# has 13 lb, 74 % of mature.
PEAK_MILK = {COW: Decimal(20), HEIFER: Decimal(13), BULL: Decimal(0)}
CALF_POUNDS = Decimal(85)

# Lower critical temperature, deg F, by coat. Source: Kansas State Univ., Beef Tips.
COATS = {
    "wet or summer": Decimal(59),
    "dry fall": Decimal(45),
    "dry winter": Decimal(32),
    "dry heavy winter": Decimal(18),
}
WET = "wet or summer"

# Full weight in lb that a kind can have at all; our choice, to catch a weight in kg or a slipped digit.
WEIGHTS = {
    COW: (Decimal(700), Decimal(2200)),
    HEIFER: (Decimal(600), Decimal(1800)),
    BULL: (Decimal(900), Decimal(3200)),
}
THIN = 4


@dataclass(frozen=True)
class Animals:
    """Animals fed alike. weight_lb: mean full weight; calf_lb: birth weight; condition: 1 (thin) to 9 (fat).

    effective_f: deg F with the wind in it; coat: one of COATS. None: not known, or not so.
    """

    kind: str
    weight_lb: Decimal
    head: int = 1
    days_since_calving: int | None = None
    days_to_calving: int | None = None
    peak_milk_lb: Decimal | None = None
    calf_lb: Decimal = CALF_POUNDS
    condition: Decimal | None = None
    effective_f: Decimal | None = None
    coat: str | None = None

    @property
    def milking(self) -> bool:
        return self.days_since_calving is not None

    @property
    def pregnant(self) -> bool:
        return self.gestation_day > 0

    @property
    def gestation_day(self) -> int:
        """Day of gestation, 0 if they do not carry."""
        return 0 if self.days_to_calving is None else max(GESTATION - self.days_to_calving, 0)

    @property
    def peak_milk(self) -> Decimal:
        """lb a day at the peak, the usual one of the kind if nobody said."""
        return PEAK_MILK[self.kind] if self.peak_milk_lb is None else self.peak_milk_lb

    @property
    def thin(self) -> bool:
        return self.condition is not None and self.condition <= THIN

    @property
    def stage_words(self) -> str:
        """Where they stand in the year, as a person says it."""
        if self.kind == BULL:
            return "at maintenance"
        parts = []
        if self.days_since_calving is not None:
            parts.append(f"{self.days_since_calving} days after calving, milking")
        if self.days_to_calving is not None and (self.days_since_calving is None or self.pregnant):
            parts.append(f"{self.days_to_calving} days before calving")
        return "; ".join(parts)

    @property
    def words(self) -> str:
        """The group in words: 1,200-lb cows, 60 days after calving, milking."""
        return f"{to_places(self.weight_lb, 0):,}-lb {self.kind}s, {self.stage_words}"


@dataclass(frozen=True)
class Stage:
    """A stage that a person can point at, and the days it stands for: the middle of it, or its hardest day."""

    key: str
    words: str
    days_since: int | None
    days_to: int | None


STAGES = (
    Stage("early-milk", "calf under 3 months old", 60, None),
    Stage("mid-milk", "calf 3 to 5 months old", 120, YEAR - 120),
    Stage("late-milk", "calf over 5 months old", 180, YEAR - 180),
    Stage("mid-pregnancy", "calf weaned, more than 3 months to calving", None, 120),
    Stage("late-pregnancy", "1 to 3 months to calving", None, 45),
    Stage("near-calving", "under 1 month to calving", None, 10),
)


def animals_at(kind: str, stage: str, weight_lb: Decimal, head: int = 1) -> Animals:
    """Animals of a kind at one of STAGES (any for bulls). Raises Refused as checked and stage_keyed."""
    if kind == BULL:
        return checked(kind=kind, weight_lb=weight_lb, head=head)
    found = stage_keyed(stage)
    return checked(
        kind=kind,
        weight_lb=weight_lb,
        head=head,
        days_since_calving=found.days_since,
        days_to_calving=found.days_to,
    )


def stage_keyed(key: str) -> Stage:
    """The stage of this key. Raises Refused `unknown-stage`."""
    found = {one.key: one for one in STAGES}.get(key)
    if found is None:
        raise Refused(
            "unknown-stage",
            f"{key!r} is not a stage.",
            field="stage",
            remedy=f"Choose from {', '.join(one.key for one in STAGES)}.",
        )
    return found


Given = str | int | Decimal | None


def checked(
    *,
    kind: str,
    weight_lb: Given,
    head: Given = 1,
    days_since_calving: Given = None,
    days_to_calving: Given = None,
    peak_milk_lb: Given = None,
    calf_lb: Given = None,
    condition: Given = None,
    effective_f: Given = None,
    coat: str | None = None,
) -> Animals:
    """Animals from plain values; empty text is None.

    Raises Refused `unknown-kind`, `implausible-weight`, `stage-missing`, `implausible-stage`, `implausible-milk`,
    `implausible-calf`, `not-a-condition`, `implausible-temperature`, `unknown-coat`, and as units.number and whole.
    """
    kind = _one_of(kind, KINDS, "unknown-kind", "kind")
    since = _days(days_since_calving, "days_since_calving", YEAR)
    to = _days(days_to_calving, "days_to_calving", YEAR)
    if kind == BULL:
        since = to = None
    elif since is None and to is None:
        raise Refused(
            "stage-missing",
            f"Nothing says where the {kind}s stand in the year.",
            field="days_since_calving",
            remedy="Give the days since calving for cows with a calf, the days to calving for dry cows.",
        )
    return Animals(
        kind=kind,
        weight_lb=_within(weight_lb, "weight_lb", WEIGHTS[kind], "implausible-weight", "lb"),
        head=whole(str(head), field="head", least=1),
        days_since_calving=since,
        days_to_calving=to,
        peak_milk_lb=_optional(peak_milk_lb, "peak_milk_lb", ("2", "45"), "implausible-milk", "lb"),
        calf_lb=_optional(calf_lb, "calf_lb", ("40", "150"), "implausible-calf", "lb") or CALF_POUNDS,
        condition=_optional(condition, "condition", ("1", "9"), "not-a-condition", "on the scale of 1 to 9"),
        effective_f=_optional(effective_f, "effective_f", ("-60", "130"), "implausible-temperature", "F"),
        coat=_one_of(coat, tuple(COATS), "unknown-coat", "coat") if coat else None,
    )


def _one_of(text: str, known: tuple[str, ...], code: str, field: str) -> str:
    plain = " ".join(str(text).lower().replace("_", " ").split())
    singular = plain.removesuffix("s")
    found = next((one for one in known if one in (plain, singular)), None)
    if found is None:
        raise Refused(
            code, f"{text!r} is not known here.", field=field, remedy=f"Choose from {', '.join(known)}."
        )
    return found


def _days(given: Given, field: str, most: int) -> int | None:
    if given is None or given == "":
        return None
    days = whole(str(given), field=field)
    if days > most:
        raise Refused(
            "implausible-stage",
            f"{days} days is more than a year.",
            field=field,
            remedy="Count from the nearest calving.",
        )
    return days


def _optional(given: Given, field: str, span: tuple[str, str], code: str, unit: str) -> Decimal | None:
    if given is None or given == "":
        return None
    return _within(given, field, (Decimal(span[0]), Decimal(span[1])), code, unit)


def _within(given: Given, field: str, span: tuple[Decimal, Decimal], code: str, unit: str) -> Decimal:
    value = number("" if given is None else given, field=field)
    if not span[0] <= value <= span[1]:
        raise Refused(
            code,
            f"{value} lies outside {span[0]} to {span[1]} {unit}.",
            field=field,
            remedy="Check the unit and the digits.",
        )
    return value
