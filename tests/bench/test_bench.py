"""Each benchmark and each fault runs, at a size that takes a moment; its times are told and never asserted."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.bench import __main__ as bench
from tests.bench import clerks, faults, season
from tests.bench.figures import Figure, table
from tests.databases import begin_cluster

EXACT = ("updates lost", "programs turned away", "symbols read back")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="programs are forked and killed by signals")


@pytest.mark.parametrize("name", bench.BENCHES)
def test_each_benchmark_measures_something(name: str) -> None:
    figures = bench.apart(name, quick=True)
    assert len(figures) >= 2
    assert all(figure.value >= 0 for figure in figures)
    assert figures[-1].what == "memory at the most" and figures[-1].value > 5
    # What is right or wrong at any size: nothing lost, nobody turned away, every tag read back.
    exact = [figure for figure in figures if figure.what.startswith(EXACT)]
    assert all(figure.met for figure in exact), exact


def test_what_must_not_be_lost_is_not_lost_at_any_size() -> None:
    told = {figure.what: figure for figure in bench.apart("writers", quick=True)}
    lost = [
        figure for what, figure in told.items() if what.startswith(("updates lost", "programs turned away"))
    ]
    assert len(lost) == 2 and all(figure.value == 0 for figure in lost)


def test_every_tag_of_the_benchmark_can_be_read_back() -> None:
    (read,) = (f for f in bench.apart("tags", quick=True) if f.what.startswith("symbols read back"))
    assert read.value == 100


def test_a_missed_goal_is_said_plainly() -> None:
    rows = table(
        [Figure("a", "b", 3.0, "x", 2), Figure("a", "c", 3.0, "x", 2, most=False), Figure("a", "d", 3.0)]
    )
    assert [line.split("|")[-2].strip() for line in rows.splitlines()[2:]] == ["**no**", "yes", ""]


def test_the_figures_are_written_as_json_and_a_quick_run_leaves_the_document_alone(tmp_path: Path) -> None:
    page = bench.ROOT / "docs" / "speed.md"
    before = page.read_text(encoding="utf-8")
    bench.write([Figure("help", "x", 2.0, "x", 4)], tmp_path, quick=True)
    (figure,) = json.loads((tmp_path / "speed.json").read_text(encoding="utf-8"))["figures"]
    assert figure["met"] is True and figure["value"] == 2.0
    assert page.read_text(encoding="utf-8") == before


@pytest.mark.parametrize("jumps", [False, True])
def test_killed_at_any_moment_nothing_confirmed_is_lost_and_nothing_is_half_there(
    tmp_path: Path, jumps: bool
) -> None:
    address = f"sqlite:///{tmp_path / 'season.db'}"
    faults.build(address)
    faults.audited(address, begun := faults.Report("sqlite", 11))
    report = faults.kill_often(address, 5, 11, on="sqlite", jumps=jumps)
    assert report.kills == 5 and sum(report.confirmed.values()) + sum(report.refused.values()) >= 5
    assert report.clean, report
    assert report.audited > begun.audited > 0


def test_what_would_be_lost_or_half_there_would_show(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'season.db'}"
    faults.build(address)
    report = faults.Report("made up", 1)
    faults.judge(address, [{"kind": "weigh", "event": "never", "sample": 1, "grams": "18.0"}], report)
    assert len(report.lost) == 1 and not report.clean


def test_killed_and_restarted_a_database_server_loses_nothing_that_was_confirmed() -> None:
    cluster = begin_cluster(durable=True)
    try:
        address = cluster.template("faults", faults.build)
        killed = faults.kill_often(address, 3, 12, on="postgresql")
        restarted = faults.restart_under_load(cluster, address, 2, 13, workers=2)
    finally:
        cluster.end()
    assert killed.clean, killed
    assert restarted.clean and sum(restarted.confirmed.values()) > 0, restarted


def test_clerks_at_a_real_server_are_told_the_truth(tmp_path: Path) -> None:
    found = clerks.run(f"sqlite:///{tmp_path / 'season.db'}", tmp_path, 32, 6, each=20)
    assert found.clean, found
    assert found.confirmed > 10


def test_a_small_season_goes_its_whole_way(tmp_path: Path) -> None:
    told = season.play(f"sqlite:///{tmp_path / 'season.db'}", 6)
    assert told.reported == told.lots == 6
    assert {"desk", "oven", "mill", "answer"} <= set(told.queues)
    # Registered, planned, printed, bound and all that is between there and the report.
    assert told.events >= 18 * 6


def test_lots_come_in_waves_and_none_is_forgotten() -> None:
    days = [season.arriving(1000, day) for day in range(season.DAYS)]
    assert sum(days) == 1000 and min(days) >= 0
    assert max(days) > 2 * 1000 / season.DAYS
