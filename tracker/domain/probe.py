"""The probe: what it can cut, and the mass of hay to expect from so many cores.

A core is a cylinder of hay as dense as its bale, so its mass is pi/4 · d² · L · density.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from tracker.domain.lot import LARGE_SQUARE, ROUND, SMALL_SQUARE
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import (
    CUBIC_INCHES_PER_CUBIC_FOOT,
    GRAMS_PER_POUND,
    MM_PER_INCH,
    positive,
    to_places,
)
from tracker.errors import Refused

PI = Decimal("3.14159265358979")

# Inside diameters in use run from 3/8 to 3/4 inch (Ontario ministry of agriculture, Take an accurate hay sample);
# the widest let through is a little over one inch. Depths run from 12 to 18 inches, and to 22 in Ontario.
NARROWEST_MM, WIDEST_MM = Decimal(9), Decimal(26)
SHORTEST_MM, LONGEST_MM = Decimal(300), Decimal(1000)
USUAL_DEPTH_MM = Decimal(457)


@dataclass(frozen=True)
class Probe:
    """A tube that cuts cores: inside diameter of its tip, and the length it can go in, in mm."""

    name: str
    inside_mm: Decimal
    length_mm: Decimal


@dataclass(frozen=True)
class Density:
    """Hay in a bale, lb per cubic foot: the range published and its middle."""

    least: Decimal
    most: Decimal
    dry: bool = False

    @property
    def usual(self) -> Decimal:
        return (self.least + self.most) / 2


# Small and large square as received: Shewmaker, Preventing hay fires. Round on dry matter: University of
# Missouri, What your hay bales really weigh (9 loose, 12 very firm).
DENSITIES = {
    SMALL_SQUARE: Density(Decimal(8), Decimal(11)),
    LARGE_SQUARE: Density(Decimal(14), Decimal(16)),
    ROUND: Density(Decimal(9), Decimal(12), dry=True),
}


@dataclass(frozen=True)
class Mass:
    """Expected fresh mass in grams; least and most by the range of bale densities."""

    usual: Decimal
    least: Decimal
    most: Decimal


@dataclass(frozen=True)
class Advice:
    """A warning and what to do about it."""

    words: str
    remedy: str


def checked_probe(name: str, inside_mm: str | Decimal, length_mm: str | Decimal) -> Probe:
    """A probe from plain values in mm.

    Raises Refused `probe-too-narrow`, `probe-too-wide`, `probe-too-short`, `probe-too-long`, or what
    units.positive raises.
    """
    inside, length = positive(inside_mm, field="inside_mm"), positive(length_mm, field="length_mm")
    _within(inside, "inside_mm", NARROWEST_MM, WIDEST_MM, ("probe-too-narrow", "probe-too-wide"))
    _within(length, "length_mm", SHORTEST_MM, LONGEST_MM, ("probe-too-short", "probe-too-long"))
    return Probe(" ".join(name.split()) or f"{inside} mm probe", inside, length)


def depth_for(probe: Probe, depth_mm: str | Decimal | None = None) -> Decimal:
    """How deep to core in mm: as asked, else 18 inches or as far as the probe goes.

    Raises Refused `depth-too-shallow` or `depth-beyond-probe`.
    """
    if depth_mm is None:
        return min(probe.length_mm, USUAL_DEPTH_MM)
    depth = positive(depth_mm, field="depth_mm")
    _within(depth, "depth_mm", SHORTEST_MM, probe.length_mm, ("depth-too-shallow", "depth-beyond-probe"))
    return depth


def core_grams(inside_mm: Decimal, depth_mm: Decimal, pounds_per_cubic_foot: Decimal) -> Decimal:
    """Mass of one core in grams, unrounded, on the basis of the density.

    core_grams(15.875, 381, 10) is 12.08 (5/8 inch, 15 inches deep, 10 lb per cubic foot).
    """
    cubic_inches = PI / 4 * (inside_mm / MM_PER_INCH) ** 2 * depth_mm / MM_PER_INCH
    return cubic_inches / CUBIC_INCHES_PER_CUBIC_FOOT * pounds_per_cubic_foot * GRAMS_PER_POUND


def expected_mass(
    probe: Probe, depth_mm: Decimal, cores: int, shape: str, practice: Practice = COMMON
) -> Mass:
    """Fresh mass of the composite in whole grams, and its range by the bale's density."""
    density = DENSITIES[shape]
    # The firmness of round bales is published on dry matter; the field bag is weighed as received.
    share = practice.number("assumed_lot_dm") / 100 if density.dry else Decimal(1)
    usual, least, most = (
        to_places(cores * core_grams(probe.inside_mm, depth_mm, value / share), 0)
        for value in (density.usual, density.least, density.most)
    )
    return Mass(usual, least, most)


def mass_advice(
    probe: Probe, depth_mm: Decimal, cores: int, mass: Mass, practice: Practice = COMMON
) -> Advice | None:
    """A warning when this probe at this depth will miss the mass wanted; None when it will do."""
    if mass.usual < practice.number("composite_least"):
        return _too_little(probe, depth_mm, cores, mass, practice)
    if mass.usual > practice.number("composite_most"):
        return _too_much(probe, depth_mm, mass, practice)
    return None


def _too_little(probe: Probe, depth_mm: Decimal, cores: int, mass: Mass, practice: Practice) -> Advice:
    least = practice.number("composite_least")
    times = least / mass.usual
    ways = []
    if depth_mm * times <= probe.length_mm:
        ways.append(f"core {_up(depth_mm * times)} mm deep")
    ways.append(f"take {_up(cores * times)} cores")
    wider = _up(probe.inside_mm * times.sqrt())
    if wider <= WIDEST_MM:
        ways.append(f"use a tip {wider} mm wide inside")
    words = f"About {mass.usual} g is expected, and the lab wants at least {least} g."
    return Advice(words, _sentence(f"{', or '.join(ways)}"))


def _too_much(probe: Probe, depth_mm: Decimal, mass: Mass, practice: Practice) -> Advice:
    most = practice.number("composite_most")
    times = most / mass.usual
    ways = []
    if depth_mm * times >= SHORTEST_MM:
        ways.append(f"core only {int(depth_mm * times)} mm deep")
    narrower = int(probe.inside_mm * times.sqrt())
    if narrower >= NARROWEST_MM:
        ways.append(f"use a tip {narrower} mm wide inside")
    ways.append("send all of it in a larger bag")
    words = f"About {mass.usual} g is expected, more than the {most} g that a lab handles easily."
    return Advice(words, f"{_sentence(', or '.join(ways))} Never divide it: leaf and stem part.")


def _up(value: Decimal) -> int:
    return int(value.to_integral_value(ROUND_CEILING))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _within(value: Decimal, field: str, least: Decimal, most: Decimal, codes: tuple[str, str]) -> None:
    if value < least:
        raise Refused(
            codes[0],
            f"{value} mm is under {least} mm.",
            field=field,
            remedy="Measure again, in mm (1 inch is 25.4 mm); hay is cored at least 300 mm deep.",
        )
    if value > most:
        raise Refused(
            codes[1],
            f"{value} mm is over {most} mm.",
            field=field,
            remedy="Measure again, in mm: the inside of the tip, and the length that goes into the bale.",
        )
