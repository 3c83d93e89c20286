"""What the animals need in a day: net energy for maintenance and crude protein, summed from what they do with them.

The factorial equations of NRC, Nutrient Requirements of Beef Cattle, 7th rev. ed. 1996 (update 2000). What was read
there or in a publication that prints it is named; the other coefficients are from memory. All of them together
give the pregnancy table printed on p. 43, and protein as Purdue, Arizona and Nebraska print it (tests/domain/
test_needs.py). Energy is kept as NEm: one printed figure of "pounds of TDN" does not hold for every hay, since
poor hay spends more of its TDN as heat. Decimals throughout; Mcal and pounds a day.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal as D
from functools import lru_cache

from tracker.domain.animals import BULL, COATS, HEIFER, WET, Animals
from tracker.domain.results import digestible_energy, metabolizable_energy, net_energy_maintenance
from tracker.domain.units import GRAMS_PER_POUND

KG_PER_POUND = GRAMS_PER_POUND / 1000
# Shrunk weight, the one the equations take: MP391 Univ. of Arkansas.
SHRINK = D("0.96")
POWER = D("0.75")

# Week of peak milk: NRC 1996 p. 45. Milk of 4.0 % fat, 8.3 % solids not fat, 3.4 % protein, its energy: from memory.
PEAK_WEEK = D("8.5")
MILK_MCAL = D("0.092") * D("4.0") + D("0.049") * D("8.3") - D("0.0569")
MILK_PROTEIN_G = D(34)

# Within the first month the need is taken at its end, as printed tables do: what is fed now is for the weeks ahead.
FIRST_MILK_DAYS = 30

# CP = MP / 0.67: MP391 Univ. of Arkansas.
PROTEIN_USED = D("0.67")


@dataclass(frozen=True)
class Part:
    """One thing the need is for: "maintenance", "milk", "calf to come", "cold"."""

    name: str
    nem_mcal: D
    cp_lb: D


@dataclass(frozen=True)
class Need:
    """Need of one animal in a day. nem_mcal: net energy for maintenance; cp_lb: crude protein; milk_lb: of milk."""

    nem_mcal: D
    cp_lb: D
    parts: tuple[Part, ...]
    milk_lb: D
    cold_factor: D


@dataclass(frozen=True)
class Density:
    """The diet that just meets the need at the intake it allows, as printed tables have it: % of dry matter, lb."""

    tdn: D
    cp: D
    dmi_lb: D


def shrunk_kg(weight_lb: D) -> D:
    """SBW = 0.96 x full weight, kg. Source: Univ. of Arkansas MP391."""
    return weight_lb * KG_PER_POUND * SHRINK


@lru_cache(maxsize=4096)
def metabolic_kg(sbw: D) -> D:
    """Metabolic body size, SBW^0.75, kg."""
    return sbw**POWER


@lru_cache(maxsize=4096)
def milk_kg(peak_kg: D, week: D) -> D:
    """Milk a day in a week of lactation: peak x (n / 8.5) x exp(1 - n / 8.5).

    The form of Jenkins & Ferrell with its peak in week 8.5. Source: NRC 1996 p. 45.
    """
    return peak_kg * week / PEAK_WEEK * (1 - week / PEAK_WEEK).exp()


def pregnancy_mcal(calf_kg: D, day: D) -> D:
    """NEm for the calf on a day of gestation: 0.576 CBW (0.4504 - 0.000766 t) exp((0.03233 - 0.0000275 t) t) / 1000.

    Source: NRC 1996 p. 43 (the factor 0.576 and the table that this gives); exponents from memory.
    """
    if day <= 0:
        return D(0)
    growth = ((D("0.03233") - D("0.0000275") * day) * day).exp()
    return D("0.576") * calf_kg * (D("0.4504") - D("0.000766") * day) * growth / 1000


def pregnancy_protein_g(calf_kg: D, day: D) -> D:
    """Net protein for the calf, g a day: 6.25 CBW (0.001669 - 0.00000211 t) exp((0.0278 - 0.0000176 t) t).

    Source: NRC 1996, from memory.
    """
    if day <= 0:
        return D(0)
    growth = ((D("0.0278") - D("0.0000176") * day) * day).exp()
    return D("6.25") * calf_kg * (D("0.001669") - D("0.00000211") * day) * growth


def maintenance_mcal(sbw: D, factor: D = D(1)) -> D:
    """NEm = 0.077 SBW^0.75, times a factor for what the animal is. Source: NRC 1996, from memory."""
    return D("0.077") * metabolic_kg(sbw) * factor


def maintenance_factor(animals: Animals) -> D:
    """1.2 for a milking cow, 1.25 for a milking first-calf heifer, 1.15 for a bull, else 1.

    Sources: Univ. of Florida AN190 (about 20 % between milking and dry); Univ. of Arkansas MP391 2018, title of its
    heifer table (1.25; instead of 1.2, since how the two go together was not seen); NRC 1996 from memory (bull).
    """
    if animals.kind == BULL:
        return D("1.15")
    if not animals.milking:
        return D(1)
    return D("1.25") if animals.kind == HEIFER else D("1.2")


def cold_factor(animals: Animals) -> D:
    """1 % more energy for each degree F below the coat's lower critical temperature; 2 % where wet or thin.

    Source: Kansas State Univ., Beef Tips, for cattle in condition 5 or better; wet cold Alabama Extension; that thin
    animals count as wet, and that it acts on the whole need, is our choice. Protein stays as it is.
    """
    if animals.effective_f is None or animals.coat is None:
        return D(1)
    below = max(COATS[animals.coat] - animals.effective_f, D(0))
    share = D("0.02") if animals.coat == WET or animals.thin else D("0.01")
    return 1 + share * below


def milk_week(animals: Animals) -> D:
    """Week of lactation that the need is taken at; 0 when they do not milk."""
    if animals.days_since_calving is None:
        return D(0)
    return D(max(animals.days_since_calving, FIRST_MILK_DAYS)) / 7


@lru_cache(maxsize=1024)
def need_of(animals: Animals) -> Need:
    """What one animal of these needs in a day. Growth and regaining condition are not in it."""
    sbw = shrunk_kg(animals.weight_lb)
    calf, day = animals.calf_lb * KG_PER_POUND, D(animals.gestation_day)
    milk = milk_kg(animals.peak_milk * KG_PER_POUND, milk_week(animals))
    parts: tuple[Part, ...] = (
        Part(
            "maintenance",
            maintenance_mcal(sbw, maintenance_factor(animals)),
            crude_lb(D("3.8") * metabolic_kg(sbw)),
        ),
        Part("milk", milk * MILK_MCAL, crude_lb(milk * MILK_PROTEIN_G / D("0.65"))),
        Part(
            "the calf to come",
            pregnancy_mcal(calf, day),
            crude_lb(pregnancy_protein_g(calf, day) / D("0.65")),
        ),
    )
    warm = sum((part.nem_mcal for part in parts), D(0))
    factor = cold_factor(animals)
    if factor > 1:
        parts = (*parts, Part("cold", warm * (factor - 1), D(0)))
    return Need(
        nem_mcal=warm * factor,
        cp_lb=sum((part.cp_lb for part in parts), D(0)),
        parts=tuple(part for part in parts if part.nem_mcal or part.cp_lb),
        milk_lb=milk / KG_PER_POUND,
        cold_factor=factor,
    )


def crude_lb(metabolizable_g: D) -> D:
    """Crude protein in lb from metabolizable protein in g: CP = MP / 0.67. Source: Univ. of Arkansas MP391."""
    return metabolizable_g / PROTEIN_USED / GRAMS_PER_POUND


def nem_per_kg(tdn: D) -> D:
    """NEm of a feed, Mcal/kg of dry matter, from its TDN in %; tracker.domain.results has the chain."""
    return net_energy_maintenance(metabolizable_energy(digestible_energy(tdn)))


@lru_cache(maxsize=4096)
def nem_of_tdn(tdn: D) -> D:
    """The same in Mcal/lb."""
    return nem_per_kg(tdn) * KG_PER_POUND


def tdn_lb(nem_mcal: D, tdn: D) -> D:
    """Pounds of TDN which this much NEm is on a feed of this TDN."""
    return nem_mcal / nem_of_tdn(tdn) * tdn / 100


def equation_intake_lb(animals: Animals, tdn: D) -> D:
    """Dry matter eaten of a diet of this TDN by the NRC equation, lb a day.

    SBW^0.75 (0.04997 NEm^2 + b) / NEm + 0.2 Yn, kg; b = 0.04631 pregnant, 0.0384 not. Source: NRC 1996, from memory;
    Lalman 2024 (Oklahoma) says it is still recommended. The extra intake in cold is left out, to be safe.
    """
    energy = nem_per_kg(tdn)
    b = D("0.04631") if animals.pregnant else D("0.0384")
    milk = milk_kg(animals.peak_milk * KG_PER_POUND, milk_week(animals))
    eaten = metabolic_kg(shrunk_kg(animals.weight_lb)) * (D("0.04997") * energy**2 + b) / energy
    return (eaten + D("0.2") * milk) / KG_PER_POUND


@lru_cache(maxsize=1024)
def needed_density(need: Need, animals: Animals) -> Density | None:
    """The TDN at which what is eaten carries just the energy needed; None where even 85 % would not.

    By halving, from 35 to 85 % TDN.
    """
    low, high = D(35), D(85)
    if equation_intake_lb(animals, high) * nem_of_tdn(high) < need.nem_mcal:
        return None
    for _ in range(40):
        middle = (low + high) / 2
        enough = equation_intake_lb(animals, middle) * nem_of_tdn(middle) >= need.nem_mcal
        low, high = (low, middle) if enough else (middle, high)
    eaten = equation_intake_lb(animals, high)
    return Density(tdn=high, cp=100 * need.cp_lb / eaten, dmi_lb=eaten)
