"""Runs with a check sample, its limits frozen from published values, and the files that come back."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from sqlalchemy import select

from tests.makers import act, done
from tests.result_files import NIR, Bench, row, taken_in, written
from tracker.steps.freeze_limits import freeze_limits
from tracker.steps.make_run import make_run
from tracker.storage.runs import CheckLimit, CheckReading, RunList

CHECK = "CHECK 1"
# Montgomery & Runger, Applied Statistics and Probability for Engineers, table 16-3, each value less 80, so that it
# can be a protein. A shift moves the mean and leaves the ranges: mean 99.095 - 80, mean moving range 2.5895 (as in
# tests/domain/test_check_samples.py), so SD 2.5895 / 1.128 = 2.2957.
PUBLISHED = (
    "102.0 94.8 98.3 98.4 102.0 98.5 99.0 97.7 100.0 98.1 "
    "101.3 98.7 101.1 98.4 97.0 96.7 100.3 101.4 97.2 101.0"
)
TWENTY = tuple(str(Decimal(value) - 80) for value in PUBLISHED.split())


def run_made(
    bench: Bench, codes: Sequence[str] | None = None, *, check: str = CHECK, seed: int = 1, every: int = 20
) -> RunList:
    """A run of all samples of the bench, made by Ana at 1300."""
    chosen = bench.codes if codes is None else codes
    run: RunList = done(
        bench.season,
        lambda s: make_run(s, NIR, check, chosen, act(s, "ana", 1300), every=every, seed=seed),
    )
    return run


def checks_in(bench: Bench, values: Sequence[str] = TWENTY) -> None:
    """A file of readings of the check sample alone."""
    taken_in(bench, written(row(CHECK, CP_pc_DM=value) for value in values), name="checks.csv", minute=1310)


def frozen(bench: Bench) -> CheckLimit:
    """The run is made, twenty readings are in, and the limits of CP are frozen from them."""
    run_made(bench)
    checks_in(bench)
    limit: CheckLimit = done(
        bench.season,
        lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1320), reason="first twenty runs"),
    )
    return limit


def readings(bench: Bench, constituent: str = "CP") -> list[CheckReading]:
    with bench.season.read() as session:
        wanted = select(CheckReading).where(CheckReading.constituent == constituent).order_by(CheckReading.id)
        return list(session.scalars(wanted))
