"""The cheapest one or two feeds that close the gap within every limit, found by the HiGHS solver of scipy.

The solver works in floats, to a ten-millionth; what comes out is taken as Decimals to a millionth of a pound. At
most two feeds: what a person mixes in a bucket. The hay saved by substitution is reported and not credited.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain.animals import Animals
from tracker.domain.feed import Feed
from tracker.domain.feeding import (
    Limit,
    limits,
    microbes_gain,
    microbes_lack,
    nem_of_feed,
    shortfall,
    substitution,
)
from tracker.domain.hay import Hay
from tracker.domain.needs import Need, nem_of_tdn
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places

Price = Callable[[Feed], Decimal | None]
# Limits that bound each feed by itself, whatever stands beside it.
ALONE = ("own limit", "gossypol", "urea", "all supplement")
# A second feed has to save more than this, $ a head and day, unless somebody asks for more.
WORTH_A_SECOND = Decimal("0.001")


@dataclass(frozen=True)
class Portion:
    """One feed of a mix, lb a head and day."""

    feed: Feed
    dm_lb: Decimal
    as_fed_lb: Decimal


@dataclass(frozen=True)
class Mix:
    """Feeds that close the gap together. cost: $ a head and day, None without prices; hay_lb: hay still eaten, dry.

    binding: what limits it, in words.
    """

    parts: tuple[Portion, ...]
    cost: Decimal | None
    hay_lb: Decimal
    binding: tuple[str, ...] = ()


@dataclass(frozen=True)
class Problem:
    """The linear problem: wants are (lacking, what a pound of each feed adds to it)."""

    feeds: tuple[Feed, ...]
    wants: tuple[tuple[Decimal, tuple[Decimal, ...]], ...]
    limits: tuple[Limit, ...]
    rates: tuple[Decimal, ...]


def problem(
    animals: Animals,
    need: Need,
    hay: Hay,
    hay_lb: Decimal,
    feeds: tuple[Feed, ...],
    practice: Practice = COMMON,
) -> Problem:
    """Wants and limits of these feeds beside so much of this hay."""
    short = shortfall(need, hay, hay_lb)
    rates = tuple(substitution(feed, hay, practice) for feed in feeds)
    both = tuple(zip(feeds, rates, strict=True))
    ne_hay = nem_of_tdn(hay.tdn)
    wants = (
        (short.nem_mcal, tuple(nem_of_feed(feed) - rate * ne_hay for feed, rate in both)),
        (short.cp_lb, tuple((feed.cp - rate * hay.cp) / 100 for feed, rate in both)),
        (
            microbes_lack(hay, hay_lb, practice),
            tuple(microbes_gain(hay, feed, rate, practice) for feed, rate in both),
        ),
    )
    return Problem(feeds, wants, limits(animals, hay, hay_lb, feeds, practice), rates)


def cheapest(
    animals: Animals,
    need: Need,
    hay: Hay,
    hay_lb: Decimal,
    feeds: tuple[Feed, ...],
    practice: Practice = COMMON,
    *,
    at_most: int = 2,
    worth: Decimal = WORTH_A_SECOND,
) -> Mix | None:
    """The cheapest mix of at most so many priced feeds; without parts if hay alone does, None if none does.

    Fewer feeds win unless another saves more than `worth`, $ a head and day.
    """
    priced = tuple(sorted((feed for feed in feeds if feed.cost_lb_dm is not None), key=lambda feed: feed.key))
    asked = problem(animals, need, hay, hay_lb, priced, practice)
    return _best(asked, lambda feed: feed.cost_lb_dm, hay_lb, at_most, worth)


def lightest(
    animals: Animals,
    need: Need,
    hay: Hay,
    hay_lb: Decimal,
    feeds: tuple[Feed, ...],
    practice: Practice = COMMON,
    *,
    at_most: int = 2,
) -> Mix | None:
    """The mix of the fewest pounds, whatever it costs: whether the gap can be closed at all."""
    known = tuple(sorted(feeds, key=lambda feed: feed.key))
    asked = problem(animals, need, hay, hay_lb, known, practice)
    return _best(asked, lambda feed: Decimal(1), hay_lb, at_most, WORTH_A_SECOND)


def _best(asked: Problem, price: Price, hay_lb: Decimal, at_most: int, worth: Decimal) -> Mix | None:
    if all(lacking <= 0 for lacking, _ in asked.wants):
        return Mix((), Decimal(0), hay_lb)
    best: tuple[Decimal, tuple[Decimal, ...]] | None = None
    for count in range(1, at_most + 1):
        found = _solve(asked, price, count)
        if found and (best is None or best[0] - found[0] > worth):
            best = found
    return None if best is None else _as_mix(asked, best[1], hay_lb)


def _as_mix(asked: Problem, pounds: tuple[Decimal, ...], hay_lb: Decimal) -> Mix:
    parts = tuple(
        Portion(feed, lb, feed.as_fed(lb)) for feed, lb in zip(asked.feeds, pounds, strict=True) if lb > 0
    )
    costs = [part.feed.cost_lb_dm for part in parts]
    cost = sum((part.dm_lb * (each or 0) for part, each in zip(parts, costs, strict=True)), Decimal(0))
    saved = sum((lb * rate for lb, rate in zip(pounds, asked.rates, strict=True)), Decimal(0))
    return Mix(
        parts,
        None if None in costs else cost,
        hay_lb - saved,
        tuple(limit.words for limit in asked.limits if limit.reached(pounds)),
    )


def _solve(asked: Problem, price: Price, count: int) -> tuple[Decimal, tuple[Decimal, ...]] | None:
    """Cost and pounds of the best mix of `count` feeds at most: x are pounds, y whether a feed is taken at all."""
    # Only this needs scipy, which takes a while to import.
    from scipy.optimize import Bounds, LinearConstraint, milp

    size = len(asked.feeds)
    if not size:
        return None
    room = [float(_most(asked, place)) for place in range(size)]
    none = [0.0] * size
    rows: list[list[float]] = []
    low: list[float] = []
    high: list[float] = []

    def row(values: list[float], least: float, most: float) -> None:
        rows.append(values)
        low.append(least)
        high.append(most)

    for lacking, adds in asked.wants:
        row([float(each) for each in adds] + none, float(lacking), float("inf"))
    for limit in asked.limits:
        row([float(share) for share in limit.shares] + none, -float("inf"), float(limit.most))
    for place in range(size):
        taken = [0.0] * (2 * size)
        taken[place], taken[size + place] = 1.0, -room[place]
        row(taken, -float("inf"), 0.0)
    row([*none, *([1.0] * size)], -float("inf"), float(count))
    found = milp(
        [float(price(feed) or 0) for feed in asked.feeds] + none,
        constraints=LinearConstraint(rows, low, high),
        integrality=[0] * size + [1] * size,
        bounds=Bounds(0, room + [1.0] * size),
        options={"mip_rel_gap": 0},
    )
    if found.x is None:
        return None
    pounds = tuple(to_places(Decimal(str(max(each, 0.0))), 6) for each in found.x[:size])
    cost = sum(
        ((price(feed) or Decimal(0)) * lb for feed, lb in zip(asked.feeds, pounds, strict=True)), Decimal(0)
    )
    return cost, pounds


def _most(asked: Problem, place: int) -> Decimal:
    """The most of one feed that its own limit and the one on all supplement let through."""
    alone = [limit.alone(place) for limit in asked.limits if limit.name in ALONE]
    return max(min((lb for lb in alone if lb is not None), default=Decimal(0)), Decimal(0))
