"""Check samples: the control chart of each constituent, the rules that hold a run, and the order of a run.

Limits come from at least 20 runs that were in control and are then frozen: later points are judged by them and
never move them. Individuals chart with moving ranges of two (ISO 7870-2; NIST/SEMATECH e-Handbook, 6.3.2.2); the
constants 1.128 and 3.267 are d2 and D4 for ranges of two. Multirule as published by Westgard.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from tracker.domain.findings import CAUTION, HOLD, Finding
from tracker.domain.practice import COMMON, RULES, Practice
from tracker.domain.units import to_places, to_places_even
from tracker.errors import Refused

D2, D4 = Decimal("1.128"), Decimal("3.267")
LEAST_RUNS = 20
# Decimals kept of mean and SD: enough that rounding moves no verdict, few enough to be written down.
PLACES = 6
IN_CONTROL, WARNING, REJECT = "in control", "warning", "reject"
CHECK, SAMPLE, BLIND = "check", "sample", "blind duplicate"
# The limit of repeatability is 1.96 · √2 of the SD of one result (ISO 5725-6, from memory: 2.8).
REPEATABILITY = Decimal("2.8")


@dataclass(frozen=True)
class Individuals:
    """The chart of single values, in their unit; range_upper is for the difference of two values in a row."""

    mean: Decimal
    moving_range: Decimal
    sigma: Decimal
    n: int

    @property
    def upper(self) -> Decimal:
        return self.mean + 3 * self.sigma

    @property
    def lower(self) -> Decimal:
        return self.mean - 3 * self.sigma

    @property
    def range_upper(self) -> Decimal:
        return D4 * self.moving_range


@dataclass(frozen=True)
class Limits:
    """Frozen limits of one constituent of one check sample: from n runs, the first and last of them in from_to.

    Raises Refused `runs-without-spread`.
    """

    version: str
    constituent: str
    mean: Decimal
    sigma: Decimal
    n: int
    from_to: tuple[str, str]

    def __post_init__(self) -> None:
        if self.sigma <= 0:
            raise Refused(
                "runs-without-spread",
                f"The {self.n} values of {self.constituent} do not differ from {self.mean}.",
                field="values",
                remedy="Give the values with all their digits, and each run's own.",
            )


@dataclass(frozen=True)
class Verdict:
    """One point: its place from 0, distance from the mean in SDs (shown to 2 decimals), the rules it breaks, and
    the level: in control, warning or reject.
    """

    index: int
    z: Decimal
    rules: tuple[str, ...]
    level: str


def individuals(values: Sequence[Decimal]) -> Individuals:
    """Mean, mean moving range and SD = range / 1.128, unrounded. Raises Refused `too-few-runs` under two values."""
    _check_count(len(values), 2)
    mean = sum(values, Decimal(0)) / len(values)
    ranges = [abs(after - before) for before, after in pairwise(values)]
    moving = sum(ranges, Decimal(0)) / len(ranges)
    return Individuals(mean, moving, moving / D2, len(values))


def freeze(values: Sequence[Decimal], *, version: str, constituent: str, from_to: tuple[str, str]) -> Limits:
    """Limits from the values of runs in control, in the order they were run.

    Raises Refused `too-few-runs` under 20, `runs-without-spread` when all are equal, and `runs-out-of-control`
    when one lies beyond 3 SD or differs from the one before by more than the upper limit of the range.
    """
    _check_count(len(values), LEAST_RUNS)
    chart = individuals(values)
    mean, sigma = (to_places_even(value, PLACES) for value in (chart.mean, chart.sigma))
    far = [value for value in values if not chart.lower <= value <= chart.upper]
    far += [after for before, after in pairwise(values) if abs(after - before) > chart.range_upper]
    if far:
        listed = ", ".join(str(value) for value in dict.fromkeys(far))
        raise Refused(
            "runs-out-of-control",
            f"{constituent} {listed} lies outside the chart's own limits.",
            field="values",
            remedy="Find out what happened in these runs, leave them out with a reason, or run more.",
        )
    return Limits(version, constituent, mean, sigma, chart.n, from_to)


def evaluate(
    points: Sequence[Decimal], limits: Limits, same_run: Sequence[int] | None = None
) -> tuple[Verdict, ...]:
    """Each point judged with those before it, in the order they were run and by one set of limits.

    Beyond means strictly beyond: a point at exactly 2 SD breaks no rule. same_run: a number per point, equal for
    check samples of one run; with it R-4s is used, which is off otherwise because it needs two in one run.
    1-2s is a warning and named only where no other rule is broken.
    """
    away = [point - limits.mean for point in points]
    found = []
    for index, distance in enumerate(away):
        rules = [name for name, breaks in _RULES if breaks(away[: index + 1], limits.sigma)]
        if same_run is not None and _opposed(away[: index + 1], same_run, limits.sigma):
            rules.append("R-4s")
        level = REJECT if rules else IN_CONTROL
        if not rules and abs(distance) > 2 * limits.sigma:
            rules, level = ["1-2s"], WARNING
        found.append(Verdict(index, to_places(distance / limits.sigma, 2), tuple(rules), level))
    return tuple(found)


def _beyond(count: int, sds: int) -> Callable[[Sequence[Decimal], Decimal], bool]:
    """Whether the last so many all lie beyond so many SDs, on one side."""

    def broken(away: Sequence[Decimal], sigma: Decimal) -> bool:
        last = away[-count:]
        return len(last) == count and (min(last) > sds * sigma or max(last) < -sds * sigma)

    return broken


_RULES = (("1-3s", _beyond(1, 3)), ("2-2s", _beyond(2, 2)), ("4-1s", _beyond(4, 1)), ("10-x", _beyond(10, 0)))


def _opposed(away: Sequence[Decimal], same_run: Sequence[int], sigma: Decimal) -> bool:
    mine = same_run[len(away) - 1]
    run = [distance for distance, number in zip(away, same_run, strict=False) if number == mine]
    last = away[-1]
    # Only the point that completes the pair breaks the rule.
    return (last > 2 * sigma and min(run) < -2 * sigma) or (last < -2 * sigma and max(run) > 2 * sigma)


def in_control(verdicts: Iterable[Verdict]) -> bool:
    """Whether a run with these check samples may go on: none of them is a reject."""
    return all(verdict.level != REJECT for verdict in verdicts)


def run_findings(verdicts: Iterable[Verdict], limits: Limits) -> tuple[Finding, ...]:
    """What is to be said of a run: a reject holds its results, a warning goes with them."""
    found = []
    for verdict in verdicts:
        if verdict.level == IN_CONTROL:
            continue
        words = (
            f"Check sample {verdict.index + 1} lies {verdict.z:+} SD from its mean for {limits.constituent} "
            f"(limits {limits.version}): {', '.join(verdict.rules)}."
        )
        held = verdict.level == REJECT
        code, level = ("check-sample-out", HOLD) if held else ("check-sample-warning", CAUTION)
        found.append(Finding(code, level, words, (limits.constituent,)))
    return tuple(found)


@dataclass(frozen=True)
class RunRow:
    """One cup of a run: position from 1, the code of the sample or check sample, and check, sample or blind
    duplicate.
    """

    position: int
    code: str
    kind: str


def run_list(
    codes: Sequence[str], check_code: str, *, blind_duplicate_seed: int, every: int = 20
) -> tuple[RunRow, ...]:
    """The order of a run: a check sample first, after every so many samples, and last.

    Each stretch between two check samples holds one blind duplicate beside its samples: one of them is scanned
    twice, chosen and placed by the stored seed, and with another sample in between where the stretch has two. The
    same seed gives the same list. Raises Refused `run-empty`, `not-a-count`, `sample-twice`, `check-sample-in-run`.
    """
    _check_run(codes, check_code, every)
    # Only random() is drawn: Python promises the same numbers for the same seed for this method alone.
    draw = random.Random(blind_duplicate_seed).random
    order = [(check_code, CHECK)]
    for start in range(0, len(codes), every):
        stretch = [(code, SAMPLE) for code in codes[start : start + every]]
        chosen = int(draw() * len(stretch))
        places = [place for place in range(len(stretch) + 1) if place not in (chosen, chosen + 1)] or [1]
        stretch.insert(places[int(draw() * len(places))], (stretch[chosen][0], BLIND))
        order += [*stretch, (check_code, CHECK)]
    return tuple(RunRow(position, code, kind) for position, (code, kind) in enumerate(order, start=1))


@dataclass(frozen=True)
class DuplicateDifference:
    """How far two results of one sample lie apart, in the constituent's unit; within is None without a limit."""

    difference: Decimal
    limit: Decimal | None
    within: bool | None
    words: str


def duplicate_difference(
    constituent: str, first: Decimal, second: Decimal, practice: Practice = COMMON
) -> DuplicateDifference:
    """Judged by 2.8 times the programme's laboratory SD of the constituent ("CP", "NDF"), which 95 in 100 pairs
    keep to; the limit itself is within. Without such an SD the difference is only told.
    """
    difference, rule = abs(first - second), f"{constituent.lower()}_lab_sd"
    said = f"{constituent}: {first} and {second} differ by {difference}"
    if rule not in RULES:
        return DuplicateDifference(difference, None, None, f"{said}; the laboratory's SD is not known.")
    limit = REPEATABILITY * practice.number(rule)
    within = difference <= limit
    return DuplicateDifference(
        difference, limit, within, f"{said}, {'within' if within else 'beyond'} {limit} (2.8 SD)."
    )


def _check_count(count: int, least: int) -> None:
    if count < least:
        raise Refused(
            "too-few-runs",
            f"{count} values of the check sample were given; {least} are needed.",
            field="values",
            remedy="Run the check sample more often before limits are frozen.",
        )


def _check_run(codes: Sequence[str], check_code: str, every: int) -> None:
    if every < 1:
        raise Refused(
            "not-a-count",
            f"A check sample after every {every} samples cannot be.",
            field="every",
            remedy="Choose a whole number of samples, usually 20.",
        )
    if not codes:
        raise Refused(
            "run-empty", "No sample is in this run.", field="codes", remedy="Scan the vials of the run first."
        )
    twice = sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        raise Refused(
            "sample-twice",
            f"{', '.join(twice)} stands twice in the run.",
            field="codes",
            remedy="List each sample once; blind duplicates are added by the list itself.",
        )
    if check_code in codes:
        raise Refused(
            "check-sample-in-run",
            f"{check_code} is the check sample, not a sample of the run.",
            field="codes",
            remedy="Leave it out of the samples; it is put in its places by the list.",
        )
