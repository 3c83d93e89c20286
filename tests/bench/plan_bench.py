"""A producer's season plan, from the lots' answers to the shares: how its time and memory grow with its size."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from tests.bench.figures import Figure
from tests.domain.feeding_makers import FEEDS, hay
from tracker.domain import season
from tracker.domain.herd import Group, checked_group
from tracker.domain.practice import Practice
from tracker.domain.season import SeasonPlan, Stack, months_from, plan_season
from tracker.domain.season_plan import Allocation, allocate

# Ten times as much to plan may take ten times the time and memory, and half as much again.
MOST_GROWTH = 1.5
FIRST = date(2026, 11, 1)


@dataclass(frozen=True)
class Planned:
    """ways: lots x groups x months; seconds of the processor, of which `solved` was the solver's; megabytes added."""

    ways: int
    seconds: float
    solved: float
    megabytes: float


def stacks(count: int) -> tuple[Stack, ...]:
    """Lots from poor to good, each of its own hay, so that no answer serves twice."""
    return tuple(
        Stack(
            lot,
            f"lot {lot}",
            hay(f"{7 + 8 * lot / count:.2f}", f"{48 + 10 * lot / count:.2f}", f"{72 - 12 * lot / count:.2f}"),
            60,
            Decimal(1000),
            "barn",
            date(2026, 7, 1),
        )
        for lot in range(1, count + 1)
    )


def groups(count: int) -> tuple[Group, ...]:
    """Cows that calve a month apart."""
    return tuple(
        checked_group(
            name=f"cows {number}", kind="cow", head=20, weight_lb="1275", calving=date(2027, 1 + number, 1)
        )
        for number in range(count)
    )


def planned(lots: int, herds: int, months: int, *, one_lot: bool = False) -> Planned:
    """One plan of so much, measured."""
    solved = 0.0

    def watched(*given: object, **more: object) -> Allocation:
        nonlocal solved
        begun = time.process_time()
        found = solve(*given, **more)
        solved = time.process_time() - begun
        return found

    solve: Callable[..., Allocation] = allocate
    before, begun = _megabytes(), time.process_time()
    season.allocate = watched
    try:
        found = plan_season(
            stacks(lots), groups(herds), months_from(FIRST, months), FEEDS, Practice({}), one_lot=one_lot
        )
    finally:
        season.allocate = allocate
    took = time.process_time() - begun
    assert _complete(found), found
    return Planned(lots * herds * months, took, solved, _megabytes() - before)


def _complete(found: SeasonPlan) -> bool:
    """Every group is on hay, or said to be without, for the whole of every month."""
    spent = [
        sum((one.share for one in found.of(group, month)), Decimal(0))
        + sum((one.share for one in found.short if (one.group, one.month) == (group, month)), Decimal(0))
        for group in found.groups
        for month in found.months
    ]
    return all(abs(share - 1) < Decimal("0.001") for share in spent)


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(quick: bool) -> list[Figure]:
    """A usual season, one ten times as large, and the usual one with one lot a month."""
    small, large = ((2, 2, 2), (4, 2, 3)) if quick else ((6, 4, 8), (60, 4, 8))
    # What is imported only once is no part of any plan.
    planned(2, 1, 1)
    usual, much = planned(*small), planned(*large)
    # In whole lots the work doubles with each choice at the worst, so a smaller one is taken.
    whole = planned(small[0], 2, small[2], one_lot=True)
    growth = much.seconds / much.ways / (usual.seconds / usual.ways)
    return [
        Figure("season plan", f"{usual.ways:,} ways to feed, as shares", usual.seconds, "s"),
        Figure("season plan", f"{whole.ways:,} ways to feed, one lot a month", whole.seconds, "s"),
        Figure("season plan", f"{much.ways:,} ways to feed, as shares", much.seconds, "s"),
        Figure(
            "season plan", f"of which the solver, {much.ways:,} ways", 100 * much.solved / much.seconds, "%"
        ),
        Figure("season plan", f"a way of {much.ways:,} / of {usual.ways:,}", growth, "x", MOST_GROWTH),
        Figure("season plan", f"memory for {much.ways:,} ways", much.megabytes, "MB"),
    ]
