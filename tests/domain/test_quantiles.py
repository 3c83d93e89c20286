"""The spread of a group, and when it may be shown. Reference: Python's statistics.quantiles, method "inclusive"."""

from __future__ import annotations

import random
import statistics
from collections import Counter
from decimal import Decimal

import pytest

from tracker.domain.quantiles import Counted, may_be_shown, quantile, spread, spread_of


@pytest.mark.parametrize("count", [2, 3, 4, 5, 9, 10, 11, 37, 100])
def test_the_quantiles_are_those_of_a_reference_library(count: int) -> None:
    chance = random.Random(count)
    values = [Decimal(chance.randrange(50, 250)) / 10 for _ in range(count)]
    lower, median, upper = statistics.quantiles(values, n=4, method="inclusive")
    found = spread(values)
    assert (found.n, found.lower, found.median, found.upper) == (count, lower, median, upper)
    if count >= 10:
        tenths = statistics.quantiles(values, n=10, method="inclusive")
        assert (found.tenth, found.ninetieth) == (tenths[0], tenths[-1])
    else:
        assert found.tenth is found.ninetieth is None


def test_one_value_is_its_own_spread_and_none_is_no_spread() -> None:
    assert spread([Decimal("8.6")]).median == Decimal("8.6")
    with pytest.raises(ValueError, match="needs values"):
        quantile([], Decimal("0.5"))
    with pytest.raises(ValueError, match="share"):
        quantile([Decimal(1)], Decimal("1.1"))


@pytest.mark.parametrize(
    ("producers", "shown"),
    [
        ([1, 1, 2, 2, 3], True),
        ([1, 2, 3, 4], False),
        ([1, 1, 1, 2, 2], False),
        ([1, 1, 1, 2, 3], False),
        ([1, 1, 1, 2, 2, 3], True),
        ([1] * 50 + [2] * 49, False),
        ([1] * 50 + [2] * 49 + [3], True),
        ([1] * 51 + [2] * 48 + [3], False),
        ([], False),
    ],
)
def test_a_group_is_shown_when_nobody_can_be_picked_out(producers: list[int], shown: bool) -> None:
    largest = [lots for _, lots in Counter(producers).most_common(3)]
    assert may_be_shown(len(producers), largest) is shown


def test_counted_values_are_spread_as_all_of_them_are() -> None:
    chance = random.Random(3)
    values = [Decimal(chance.randrange(80, 120)) / 10 for _ in range(500)]
    counted = Counted(Counter(values).items())
    assert list(counted) == sorted(values) and counted[3:9:2] == sorted(values)[3:9:2]
    assert spread_of(counted) == spread(values)
    assert len(Counted([(Decimal(1), 0)])) == 0
    with pytest.raises(IndexError):
        counted[500]
