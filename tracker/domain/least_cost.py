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
    brought,
    lacking,
    limits,
    microbes_gain,
    substitution,
)
from tracker.domain.hay import Hay
from tracker.domain.needs import Need
from tracker.domain.practice import COMMON, Practice
from tracker.domain.units import to_places

Price = Callable[[Feed], Decimal | None]
# $ (or pounds) a head and day, and the pounds of each feed.
Solution = tuple[Decimal, tuple[Decimal, ...]]
INFINITY = float("inf")
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
    lack = lacking(need, hay, hay_lb, practice)
    rates = tuple(substitution(feed, hay, practice) for feed in feeds)
    both = tuple(zip(feeds, rates, strict=True))
    each = [brought(feed, hay, rate, practice) for feed, rate in both]
    wants = [
        (lack.energy, tuple(one.energy for one in each)),
        (lack.protein, tuple(one.protein for one in each)),
    ]
    if lack.microbes > 0:
        # In a mix one feed may take from the microbes what another brings them.
        wants.append((lack.microbes, tuple(microbes_gain(hay, feed, rate, practice) for feed, rate in both)))
    return Problem(feeds, tuple(wants), limits(animals, hay, hay_lb, feeds, practice), rates)


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
    best = _single(asked, price)
    if at_most > 1 and asked.feeds:
        # Any number of feeds together cost no more than two: where even they save too little, nobody need search.
        bound = _solve(asked, price, None)
        if bound and (best is None or best[0] - bound[0] > worth):
            more = _solve(asked, price, at_most)
            best = more if more and (best is None or best[0] - more[0] > worth) else best
    return None if best is None else _as_mix(asked, best[1], hay_lb)


def _single(asked: Problem, price: Price) -> Solution | None:
    """The best single feed, exactly; of those that cost the same to a tenth of a cent the first by name."""
    found: list[tuple[Decimal, int, Decimal]] = []
    for place, feed in enumerate(asked.feeds):
        lb = _alone(asked, place)
        if lb is not None and all(limit.shares[place] * lb <= limit.most for limit in asked.limits):
            found.append((to_places((price(feed) or Decimal(0)) * lb, 3), place, lb))
    if not found:
        return None
    _, place, lb = min(found)
    pounds = tuple(lb if each == place else Decimal(0) for each in range(len(asked.feeds)))
    return (price(asked.feeds[place]) or Decimal(0)) * lb, pounds


def _alone(asked: Problem, place: int) -> Decimal | None:
    """Pounds of this feed alone that close every want; None where no amount does."""
    pounds = Decimal(0)
    for short, adds in asked.wants:
        if short > 0:
            if adds[place] <= 0:
                return None
            pounds = max(pounds, short / adds[place])
    # A feed poorer than the hay it replaces may eat up what was enough.
    poorer = any(adds[place] < 0 and adds[place] * pounds < short for short, adds in asked.wants)
    return None if poorer else pounds


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


def _solve(asked: Problem, price: Price, count: int | None) -> Solution | None:
    """The best mix of at most `count` feeds, or of any number: x are pounds, y whether a feed is taken at all."""
    # Only this needs scipy, which takes a while to import.
    from scipy.optimize import Bounds, LinearConstraint, milp

    size = len(asked.feeds)
    room = [float(_most(asked, place)) for place in range(size)]
    rows = [([float(each) for each in adds], float(lacking), INFINITY) for lacking, adds in asked.wants]
    rows += [([float(share) for share in one.shares], -INFINITY, float(one.most)) for one in asked.limits]
    costs = [float(price(feed) or 0) for feed in asked.feeds]
    if count is not None:
        none = [0.0] * size
        rows = [(shares + none, low, high) for shares, low, high in rows]
        rows += [(_taken(place, room), -INFINITY, 0.0) for place in range(size)]
        rows.append(([*none, *([1.0] * size)], 0.0, float(count)))
        costs, room = costs + none, [*room, *([1.0] * size)]
    shares, low, high = zip(*rows, strict=True)
    found = milp(
        costs,
        constraints=LinearConstraint(shares, low, high),
        integrality=[0] * size + [1] * (len(costs) - size),
        bounds=Bounds(0, room),
        options={"mip_rel_gap": 0},
    )
    if found.x is None:
        return None
    pounds = tuple(to_places(Decimal(str(max(each, 0.0))), 6) for each in found.x[:size])
    paid = ((price(feed) or Decimal(0)) * lb for feed, lb in zip(asked.feeds, pounds, strict=True))
    return sum(paid, Decimal(0)), pounds


def _taken(place: int, room: list[float]) -> list[float]:
    """x <= most x y for one feed."""
    row = [0.0] * (2 * len(room))
    row[place], row[len(room) + place] = 1.0, -room[place]
    return row


def _most(asked: Problem, place: int) -> Decimal:
    """The most of one feed that its own limit and the one on all supplement let through."""
    alone = [limit.alone(place) for limit in asked.limits if limit.name in ALONE]
    return max(min((lb for lb in alone if lb is not None), default=Decimal(0)), Decimal(0))
