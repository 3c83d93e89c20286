"""Limits of a check sample: frozen from readings in control, versioned, with a reason."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from tests.check_runs import CHECK, TWENTY, checks_in, frozen, readings, run_made
from tests.makers import act, done, refused
from tests.result_files import NIR, Bench, row, taken_in, written
from tracker.lookups.check_charts import charts
from tracker.steps.freeze_limits import freeze_limits


def test_the_published_values_give_the_published_limits(bench: Bench) -> None:
    limit = frozen(bench)
    assert (limit.version, limit.n, limit.by, limit.reason) == (1, 20, "lena", "first twenty runs")
    # Mean and moving range as published, see tests/check_runs.py.
    assert limit.mean == D("19.095000") and abs(limit.sigma - D("2.2957")) < D("0.0001")


def test_nineteen_readings_are_too_few(bench: Bench) -> None:
    run_made(bench)
    checks_in(bench, TWENTY[:19])
    step = lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1320), reason="begin")  # noqa: E731
    assert refused(bench.season, step).code == "too-few-runs"


def test_a_reading_left_out_is_named_and_does_not_count(bench: Bench) -> None:
    run_made(bench)
    checks_in(bench, [*TWENTY, "29.0"])
    last = readings(bench)[-1].id
    step = lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1320), reason="begin")  # noqa: E731
    assert refused(bench.season, step).code == "runs-out-of-control"
    row = done(
        bench.season,
        lambda s: freeze_limits(
            s, NIR, CHECK, "CP", act(s, "lena", 1320), reason="cup was dirty.", left_out={last}
        ),
    )
    assert row.n == 20 and row.mean == D("19.095000")
    assert row.reason == f"cup was dirty. Left out: readings {last}."


def test_the_next_version_stands_beside_the_first_and_leaves_rejected_readings_out(bench: Bench) -> None:
    frozen(bench)
    taken_in(bench, written([row(CHECK, CP_pc_DM="28.0")]), name="bad.csv")
    step = lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1500), reason="new lamp")  # noqa: E731
    second = done(bench.season, step)
    assert (second.version, second.n) == (2, 20)
    with bench.season.read() as session:
        (chart,) = [one for one in charts(session) if one.constituent == "CP"]
    assert [limits.version for limits in chart.limits] == [2, 1]
    assert [reading.level for reading in chart.readings] == [*["none"] * 20, "reject"]


@pytest.mark.parametrize(
    ("source", "check", "constituent"),
    [("bench", CHECK, "CP"), (NIR, "CHECK 2", "CP"), (NIR, CHECK, "Ca")],
)
def test_limits_of_what_was_never_read_are_refused(
    bench: Bench, source: str, check: str, constituent: str
) -> None:
    run_made(bench)
    checks_in(bench)
    step = lambda s: freeze_limits(s, source, check, constituent, act(s, "lena", 1320), reason="x")  # noqa: E731
    assert refused(bench.season, step).code == "no-readings"


def test_limits_need_a_reason(bench: Bench) -> None:
    run_made(bench)
    checks_in(bench)
    step = lambda s: freeze_limits(s, NIR, CHECK, "CP", act(s, "lena", 1320), reason=" ")  # noqa: E731
    assert refused(bench.season, step).code == "reason-missing"


def test_equal_readings_make_no_limits(bench: Bench) -> None:
    run_made(bench)
    checks_in(bench)
    step = lambda s: freeze_limits(s, NIR, CHECK, "NDF", act(s, "lena", 1320), reason="x")  # noqa: E731
    assert refused(bench.season, step).code == "runs-without-spread"
