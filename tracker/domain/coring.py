"""The coring plan: which bales, how many cores from each, where the probe enters, what to expect.

Bales are chosen by their number in the stack, never by their looks: a random start and then every so many bales
through the whole stack. One core per bale gives the smallest error for a fixed number of cores (Sheaffer et al.,
Agronomy Journal 2000).
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from tracker.domain.lot import LARGE_SQUARE, ROUND, SMALL_SQUARE, WRAPPED, LotFacts, size_check
from tracker.domain.practice import COMMON, Practice
from tracker.domain.precision import practice_margin
from tracker.domain.probe import Probe, depth_for, expected_mass, mass_advice
from tracker.domain.units import positive, whole
from tracker.errors import Refused

SIDE, END = "side", "end"
# Round bales from the curved side, square bales from the butt end, between the strings (Eight steps to better hay
# sampling; for 1-ton bales Orloff 1999: front end, middle and butt end did not differ).
ENTRIES = {ROUND: SIDE, LARGE_SQUARE: END, SMALL_SQUARE: END}

MOST_CORES = 100
# Hay is watched for heating for 3 weeks (Ohio State, Wet hay fire danger) to 6 weeks (California, CDQAP 2020).
CURE, LONG_CURE = timedelta(weeks=3), timedelta(weeks=6)

# 150 F: where the danger zone starts for Iowa State, Penn State, Cornell and others; the smell from memory.
SAFETY = (
    "Hay that steams, smells of caramel or is over 66 °C (150 °F): do not core it or climb on it. It may be "
    "burnt hollow below. Call the fire service.",
    "A probe that comes out hot: stop and step back.",
    "Climb no loose or leaning stack; core from firm footing.",
    "Dust and mould: mask, eye protection, stand upwind.",
)

PRACTICE_USED = (
    "lot_limit",
    "lot_limit_basis",
    "assumed_lot_dm",
    "cores",
    "cores_least",
    "composite_wanted",
    "composite_least",
    "composite_most",
    "cp_sd_between",
    "cp_sd_within",
    "cp_lab_sd",
    "ndf_sd_between",
    "ndf_sd_within",
    "ndf_lab_sd",
)
_CHOICES = ("lot_limit_basis",)


@dataclass(frozen=True)
class Pick:
    """One bale to core, counted from 1 along the walk through the stack, and its cores."""

    bale: int
    cores: int


@dataclass(frozen=True)
class CoringPlan:
    """A plan as it was made. It is kept as it is: a change is a plan with the next version.

    Lengths in mm, masses in g fresh, margins in % of dry matter at 95 % with the laboratory's share included.
    """

    version: int
    seed: int
    bale_count: int
    picks: tuple[Pick, ...]
    cores: int
    entry: str
    probe: Probe
    depth_mm: Decimal
    mass_g: Decimal
    mass_least_g: Decimal
    mass_most_g: Decimal
    mass_advice: str
    cp_margin: Decimal
    ndf_margin: Decimal
    fewer_cores_reason: str
    when: str
    practice: tuple[tuple[str, str], ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for keeping, every number as text so that its digits stay."""
        plain: dict[str, Any] = {field.name: str(getattr(self, field.name)) for field in fields(self)}
        plain["picks"] = [{"bale": str(pick.bale), "cores": str(pick.cores)} for pick in self.picks]
        probe = self.probe
        plain["probe"] = {
            "name": probe.name,
            "inside_mm": str(probe.inside_mm),
            "length_mm": str(probe.length_mm),
        }
        plain["practice"] = dict(self.practice)
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> CoringPlan:
        """The plan that to_dict wrote."""
        values = dict(plain)
        for name in ("version", "seed", "bale_count", "cores"):
            values[name] = int(values[name])
        for name in ("depth_mm", "mass_g", "mass_least_g", "mass_most_g", "cp_margin", "ndf_margin"):
            values[name] = Decimal(values[name])
        values["picks"] = tuple(Pick(int(pick["bale"]), int(pick["cores"])) for pick in plain["picks"])
        probe = plain["probe"]
        values["probe"] = Probe(probe["name"], Decimal(probe["inside_mm"]), Decimal(probe["length_mm"]))
        values["practice"] = tuple(plain["practice"].items())
        return cls(**values)


def entry_for(shape: str) -> str:
    """Where the probe enters a bale of that shape: "side" or "end"."""
    return ENTRIES[shape]


def bale_picks(bale_count: int, cores: int, seed: int) -> tuple[Pick, ...]:
    """Bales in walking order and the cores of each, the same for the same seed.

    With enough bales each gives one core. With fewer, every bale is cored, and those that give one core more
    are spread through the stack. Only random() is drawn from the generator: Python promises the same numbers
    for the same seed for this method alone.
    """
    start = int(random.Random(seed).random() * bale_count)
    each, over = divmod(cores, bale_count)
    one_more = set(walk(bale_count, over, start))
    counts = ((bale, each + (bale in one_more)) for bale in range(1, bale_count + 1))
    return tuple(Pick(bale, count) for bale, count in counts if count)


def walk(bale_count: int, picks: int, start: int) -> tuple[int, ...]:
    """Bale numbers at even steps of bale_count / picks; start runs from 0 to bale_count - 1.

    Over all starts each bale comes up equally often, also when the step is not a whole number: a whole-number
    step would never reach, or would favour, the far end of the stack.
    """
    return tuple((start + pick * bale_count) // picks + 1 for pick in range(picks))


def plan(
    facts: LotFacts,
    probe: Probe,
    *,
    seed: int,
    practice: Practice = COMMON,
    cores: str | int | None = None,
    reason: str = "",
    depth_mm: str | Decimal | None = None,
    version: int = 1,
) -> CoringPlan:
    """The coring plan of a lot.

    reason says why fewer cores than the programme wants are taken. Raises Refused `lot-too-large`,
    `too-few-cores`, `too-many-cores`, `not-a-count`, `depth-too-shallow` or `depth-beyond-probe`.
    """
    size_check(facts, practice)
    wanted = int(practice.number("cores"))
    count = wanted if cores is None else whole(cores, field="cores", least=1)
    why = " ".join(reason.split())
    _enough(count, wanted, why, practice)
    depth = depth_for(probe, depth_mm)
    picks = bale_picks(facts.bale_count, count, seed)
    mass = expected_mass(probe, depth, count, facts.bale_shape, practice)
    advice = mass_advice(probe, depth, count, mass, practice)
    shares = [pick.cores for pick in picks]
    cp, ndf = (practice_margin(name, facts.bale_count, shares, practice) for name in ("cp", "ndf"))
    return CoringPlan(
        version=version,
        seed=seed,
        bale_count=facts.bale_count,
        picks=picks,
        cores=count,
        entry=entry_for(facts.bale_shape),
        probe=probe,
        depth_mm=depth,
        mass_g=mass.usual,
        mass_least_g=mass.least,
        mass_most_g=mass.most,
        mass_advice=f"{advice.words} {advice.remedy}" if advice else "",
        cp_margin=cp.half_width,
        ndf_margin=ndf.half_width,
        fewer_cores_reason=why if count < wanted else "",
        when=when_to_sample(facts),
        practice=_practice_used(practice),
    )


def deviations(
    planned: CoringPlan,
    cored_bales: Mapping[int, int],
    entry: str,
    depth_mm: str | Decimal | None = None,
) -> tuple[str, ...]:
    """What was done otherwise than planned, one sentence each, in the order of the bales.

    cored_bales: bale number -> cores taken. Raises Refused `no-such-bale` for a bale the lot does not have.
    """
    wanted = {pick.bale: pick.cores for pick in planned.picks}
    found = []
    for bale in sorted(wanted.keys() | cored_bales.keys()):
        if not 1 <= bale <= planned.bale_count:
            raise Refused(
                "no-such-bale",
                f"Bale {bale} is not in a lot of {planned.bale_count} bales.",
                field="cored_bales",
                remedy="Count along the walk again, or correct the lot's bale count first.",
            )
        found.append(_bale_deviation(bale, wanted.get(bale, 0), cored_bales.get(bale, 0)))
    total = sum(cored_bales.values())
    if total != planned.cores:
        found.append(f"{total} cores in all, planned were {planned.cores}.")
    if entry != planned.entry:
        found.append(f"Cored from the {entry}, planned was the {planned.entry}.")
    if depth_mm is not None and positive(depth_mm, field="depth_mm") != planned.depth_mm:
        found.append(f"Cored {depth_mm} mm deep, planned were {planned.depth_mm} mm.")
    return tuple(words for words in found if words)


def when_to_sample(facts: LotFacts) -> str:
    """When to core this lot, in words: cured, not hot, and as near to its use as can be."""
    first, sure = facts.harvest_date + CURE, facts.harvest_date + LONG_CURE
    words = (
        "Right before feeding or sale, and once the hay has cured: not before "
        f"{_said(first)}, safely from {_said(sure)}. Do not core hay that is still hot."
    )
    if facts.storage == WRAPPED:
        words += " Tape every hole in the wrap at once."
    return words


def _said(when: date) -> str:
    return f"{when.day} {when:%b %Y}"


def _bale_deviation(bale: int, wanted: int, taken: int) -> str:
    if wanted == taken:
        return ""
    if not taken:
        return f"Bale {bale} was planned and not cored."
    if not wanted:
        return f"Bale {bale} was cored and not planned ({_cores(taken)})."
    return f"Bale {bale} gave {_cores(taken)}, planned were {wanted}."


def _cores(count: int) -> str:
    return f"{count} core" if count == 1 else f"{count} cores"


def _enough(count: int, wanted: int, why: str, practice: Practice) -> None:
    least = int(practice.number("cores_least"))
    if count < min(least, wanted):
        raise Refused(
            "too-few-cores",
            f"{count} cores cannot speak for a lot.",
            field="cores",
            remedy=f"Take {wanted}, or with a reason at least {least}.",
        )
    if count < wanted and not why:
        raise Refused(
            "too-few-cores",
            f"{count} cores are fewer than the {wanted} wanted.",
            field="reason",
            remedy=f"Take {wanted}, or write why fewer will do.",
        )
    if count > MOST_CORES:
        raise Refused(
            "too-many-cores",
            f"{count} cores are more than one bag can take.",
            field="cores",
            remedy=f"Take at most {MOST_CORES}; {wanted} are usual.",
        )


def _practice_used(practice: Practice) -> tuple[tuple[str, str], ...]:
    return tuple(
        (name, practice.word(name) if name in _CHOICES else str(practice.number(name)))
        for name in PRACTICE_USED
    )
