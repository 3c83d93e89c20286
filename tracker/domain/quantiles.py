"""How a value is spread over the lots of a group, and when a group is too small to be shown.

Quantiles are those of Hyndman and Fan (1996), type 7: linear between the order statistics, as most statistical
programs reckon them unless told otherwise. Nothing shown is one lot's own value: the ends are the 10th and 90th
centile and need ten lots, never the least and the greatest.

A group is shown when it has at least five lots of at least three producers, none of whom has more than half of them.
That is common practice in official statistics (a threshold and a dominance rule), not a published standard.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import accumulate
from typing import overload

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


class Counted(Sequence[Decimal]):
    """Values in ascending order, each as often as it was counted, without a place in memory for each time."""

    def __init__(self, counts: Iterable[tuple[Decimal, int]]) -> None:
        known = sorted(one for one in counts if one[1] > 0)
        self._values = [value for value, _ in known]
        self._ends = list(accumulate(times for _, times in known))

    def __len__(self) -> int:
        return self._ends[-1] if self._ends else 0

    @overload
    def __getitem__(self, place: int) -> Decimal: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[Decimal]: ...
    def __getitem__(self, place: int | slice) -> Decimal | Sequence[Decimal]:
        if isinstance(place, slice):
            return [self[one] for one in range(*place.indices(len(self)))]
        if not 0 <= place < len(self):
            raise IndexError(place)
        return self._values[bisect_right(self._ends, place)]


def spread(values: Iterable[Decimal]) -> Spread:
    """The spread of values in any order."""
    return spread_of(sorted(values))


def spread_of(ordered: Sequence[Decimal]) -> Spread:
    """The spread of values in ascending order."""
    ends = len(ordered) >= LEAST_FOR_ENDS
    return Spread(
        n=len(ordered),
        median=quantile(ordered, Decimal("0.5")),
        lower=quantile(ordered, Decimal("0.25")),
        upper=quantile(ordered, Decimal("0.75")),
        tenth=quantile(ordered, Decimal("0.1")) if ends else None,
        ninetieth=quantile(ordered, Decimal("0.9")) if ends else None,
    )


def may_be_shown(lots: int, largest: Sequence[int]) -> bool:
    """Whether nobody can be picked out of so many lots.

    largest: how many are whose, of the producers who have most of them, the most first; three say enough.
    """
    if lots < LEAST_LOTS or len(largest) < LEAST_PRODUCERS:
        return False
    return largest[0] <= GREATEST_SHARE * lots
