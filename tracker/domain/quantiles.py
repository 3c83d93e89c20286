"""How a value is spread over the lots of a group, and when a group is too small to be shown.

Quantiles are those of Hyndman and Fan (1996), type 7: linear between the order statistics, as most statistical
programs reckon them unless told otherwise. Nothing shown is one lot's own value: the ends are the 10th and 90th
centile and need ten lots, never the least and the greatest.

A group is shown when it has at least five lots of at least three producers, none of whom has more than half of them.
That is common practice in official statistics (a threshold and a dominance rule), not a published standard.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

LEAST_LOTS, LEAST_PRODUCERS, LEAST_FOR_ENDS = 5, 3, 10
GREATEST_SHARE = Decimal("0.5")


@dataclass(frozen=True)
class Spread:
    """n values: their median and quartiles, and the 10th and 90th centile where n is at least ten."""

    n: int
    median: Decimal
    lower: Decimal
    upper: Decimal
    tenth: Decimal | None = None
    ninetieth: Decimal | None = None


def quantile(values: Sequence[Decimal], share: Decimal) -> Decimal:
    """The type 7 quantile of values in ascending order; share from 0 to 1. Raises ValueError for no values."""
    if not values or not 0 <= share <= 1:
        raise ValueError("a quantile needs values, and a share from 0 to 1")
    place = share * (len(values) - 1)
    below = int(place)
    above = min(below + 1, len(values) - 1)
    return values[below] + (place - below) * (values[above] - values[below])


def spread(values: Sequence[Decimal]) -> Spread:
    """The spread of values in any order."""
    ordered = sorted(values)
    ends = len(ordered) >= LEAST_FOR_ENDS
    return Spread(
        n=len(ordered),
        median=quantile(ordered, Decimal("0.5")),
        lower=quantile(ordered, Decimal("0.25")),
        upper=quantile(ordered, Decimal("0.75")),
        tenth=quantile(ordered, Decimal("0.1")) if ends else None,
        ninetieth=quantile(ordered, Decimal("0.9")) if ends else None,
    )


def may_be_shown(producers: Sequence[int]) -> bool:
    """Whether nobody can be picked out. producers: of each lot, whose it is."""
    if len(producers) < LEAST_LOTS:
        return False
    lots_of = Counter(producers)
    return len(lots_of) >= LEAST_PRODUCERS and max(lots_of.values()) <= GREATEST_SHARE * len(producers)
