"""How far the mean of a composite sample may lie from the mean of its lot.

Three things part them: bales differ from one another, cores of one bale differ, and the laboratory does not find
the same value twice. Standard two-stage sampling (Cochran, Sampling Techniques, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import sqrt

from scipy.special import ndtri, stdtrit

from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places
from tracker.errors import Refused

# More cores than this would never be taken by hand.
MOST_CORES = 200
PLACES = 4


@dataclass(frozen=True)
class Margin:
    """Half the width of a confidence interval, in the unit of the SDs.

    between, within, lab: the parts of the variance of the mean; dof: degrees of freedom of the SDs, None when
    they are taken as known; confidence in %.
    """

    half_width: Decimal
    between: Decimal
    within: Decimal
    lab: Decimal
    dof: int | None
    confidence: Decimal

    @property
    def words(self) -> str:
        """±0.52 (95 %): 15 % of the variance between bales, ..."""
        parts = {"between bales": self.between, "within bales": self.within, "in the laboratory": self.lab}
        total = sum(parts.values())
        width = f"±{to_places(self.half_width, 2)} ({self.confidence} %)"
        if not total:
            return width
        shares = ", ".join(f"{to_places(100 * part / total, 0)} % {where}" for where, part in parts.items())
        return f"{width}; of the variance {shares}"


def lot_mean_margin(
    between_sd: Decimal,
    within_sd: Decimal,
    bales_in_lot: int,
    cores_per_bale: Iterable[int],
    lab_sd: Decimal | None = None,
    confidence: Decimal = Decimal(95),
    dof: int | None = None,
) -> Margin:
    """The margin of the lot mean from one composite analysed once.

    cores_per_bale: how many cores each cored bale gave, n in all from m bales; bales_in_lot is M. For equal
    shares the variance is between_sd² / m · (1 - m/M) + within_sd² / n + lab_sd². Coring every bale removes the
    first term only: a core never stands for its whole bale. For unequal shares w = cores / n of the composite
    the first term is between_sd² · (Σw² - 1/M), the variance of a weighted mean of bales drawn without
    replacement. The quantile is the normal's while the SDs are taken as known, and Student's t with dof when
    they were estimated from data.

    Raises Refused `not-a-count` for no cores or more bales than the lot has, `not-a-percentage` for a
    confidence outside 0 to 100, and `not-positive` for an SD below zero.
    """
    cores = tuple(cores_per_bale)
    _check(cores, bales_in_lot, (between_sd, within_sd, lab_sd or Decimal(0)), confidence)
    between = between_sd**2 * bale_share(cores, bales_in_lot)
    within, lab = within_sd**2 / sum(cores), (lab_sd or Decimal(0)) ** 2
    half_width = _quantile(confidence, dof) * sqrt(between + within + lab)
    return Margin(to_places(Decimal(half_width), PLACES), between, within, lab, dof, confidence)


def bale_share(cores_per_bale: Sequence[int], bales_in_lot: int) -> Decimal:
    """What of the variance between bales is left in the composite: Σw² - 1/M; see lot_mean_margin."""
    total = sum(cores_per_bale)
    spread = Decimal(sum(count * count for count in cores_per_bale)) / total**2 - Decimal(1) / bales_in_lot
    # Coring all bales alike leaves a rest of the last decimal digit here, on either side of zero.
    return max(spread, Decimal(0))


def cores_needed(
    between_sd: Decimal,
    within_sd: Decimal,
    bales_in_lot: int,
    wanted_margin: Decimal,
    lab_sd: Decimal | None = None,
    confidence: Decimal = Decimal(95),
) -> int:
    """The fewest cores, spread over as many bales as can be, whose margin is no wider than wanted.

    Raises Refused `margin-out-of-reach` when 200 cores would not do, or the laboratory alone is wider.
    """
    for total in range(1, MOST_CORES + 1):
        cores = even_shares(total, bales_in_lot)
        margin = lot_mean_margin(between_sd, within_sd, bales_in_lot, cores, lab_sd, confidence)
        if margin.half_width <= wanted_margin:
            return total
    raise Refused(
        "margin-out-of-reach",
        f"Not even {MOST_CORES} cores bring the margin down to {wanted_margin}.",
        field="wanted_margin",
        remedy="Ask for a wider margin, or have the ground sample analysed more than once.",
    )


def even_shares(cores: int, bales: int) -> tuple[int, ...]:
    """So many cores over so many bales, one each or as even as can be; bales without a core left out."""
    each, over = divmod(cores, bales)
    return tuple(each + 1 if bale < over else each for bale in range(min(cores, bales)))


def practice_margin(
    constituent: str, bales_in_lot: int, cores_per_bale: Iterable[int], practice: Practice = COMMON
) -> Margin:
    """The margin of "cp" or "ndf" (% of dry matter) by the programme's SDs, its laboratory's included."""
    between, within = (practice.number(f"{constituent}_sd_{where}") for where in ("between", "within"))
    lab = practice.number(f"{constituent}_lab_sd")
    return lot_mean_margin(between, within, bales_in_lot, cores_per_bale, lab)


def _quantile(confidence: Decimal, dof: int | None) -> float:
    tail = 0.5 + float(confidence) / 200
    return float(ndtri(tail) if dof is None else stdtrit(dof, tail))


def _check(cores: tuple[int, ...], bales_in_lot: int, sds: tuple[Decimal, ...], confidence: Decimal) -> None:
    if not cores or min(cores) < 1 or len(cores) > bales_in_lot:
        raise Refused(
            "not-a-count",
            f"{len(cores)} cored bales of {bales_in_lot}, with {sum(cores)} cores, cannot be.",
            field="cores",
            remedy="Count the bales, and list only those that were cored.",
        )
    if min(sds) < 0:
        raise Refused(
            "not-positive",
            f"{min(sds)} is below zero.",
            field="sd",
            remedy="A standard deviation is zero or more.",
        )
    if not 0 < confidence < 100:
        raise Refused(
            "not-a-percentage",
            f"{confidence} % is no confidence.",
            field="confidence",
            remedy="Choose between 0 and 100, usually 95.",
        )
