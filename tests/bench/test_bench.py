"""Each benchmark and each fault runs, at a size that takes a moment; its times are told and never asserted."""

from __future__ import annotations

import json
import os
import shutil
from itertools import count
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.bench import __main__ as bench
from tests.bench import clerks, curve, faults, season
from tests.bench.figures import Figure, table
from tests.databases import begin_cluster
from tracker.files.key_file import KeyFile
from tracker.lookups.log_audit import audit
from tracker.lookups.oven_bench import open_loads
from tracker.storage.engine import Database

EXACT = ("updates lost", "programs turned away", "symbols read back", "lots that have their answer")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="programs are forked and killed by signals")


# How many figures of each are right or wrong at any size.
RIGHT = {"writers": 2, "tags": 1, "season": 1}


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of a season that programs can work on, never opened by a test."""
    path = tmp_path_factory.mktemp("worked") / "season.db"
    faults.build(f"sqlite:///{path}")
    return path


@pytest.fixture
def address(worked: Path, tmp_path: Path) -> str:
    return f"sqlite:///{shutil.copy(worked, tmp_path / 'season.db')}"


@pytest.mark.parametrize("name", [*bench.BENCHES, bench.SEASON])
def test_each_benchmark_measures_something_and_loses_nothing(name: str) -> None:
    # In this program, since nine that are begun would take longer than what they measure.
    figures = bench.one(name, quick=True)
    assert len(figures) >= 2
    assert all(figure.value >= 0 for figure in figures)
    assert figures[-1].what == "memory at the most" and figures[-1].value > 5
    # Nothing lost, nobody turned away, every tag read back, every lot answered.
    exact = [figure for figure in figures if figure.what.startswith(EXACT)]
    assert len(exact) == RIGHT.get(name, 0) and all(figure.met for figure in exact), exact


def test_a_benchmark_is_measured_in_a_program_of_its_own() -> None:
    figures = bench.apart("season-plan", quick=True)
    assert figures[0].bench == "season plan" and figures[-1].unit == "MB"


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
    address: str, jumps: bool
) -> None:
    report = faults.kill_often(address, 5, 11, on="sqlite", jumps=jumps)
    assert report.kills == 5 and sum(report.confirmed.values()) + sum(report.refused.values()) >= 5
    assert report.clean, report
    # Registered, planned, printed and all that is up to the desk, for each sample that was there before.
    assert report.audited > 9 * faults.SAMPLES


def test_what_would_be_lost_or_half_there_would_show(address: str) -> None:
    report = faults.Report("made up", 1)
    faults.judge(address, [{"kind": "weigh", "event": "never", "sample": 1, "grams": "18.0"}], report)
    assert len(report.lost) == 1 and not report.clean


def test_killed_and_restarted_a_database_server_loses_nothing_that_was_confirmed() -> None:
    cluster = begin_cluster(durable=True)
    try:
        address = cluster.template("faults", faults.build)
        killed = faults.kill_often(address, 3, 12, on="postgresql")
        restarted = faults.restart_under_load(cluster, address, 2, 13, workers=2, work=1.0)
    finally:
        cluster.end()
    assert killed.clean, killed
    assert restarted.clean and sum(restarted.confirmed.values()) > 0, restarted


def test_clerks_at_two_real_servers_are_told_the_truth(tmp_path: Path) -> None:
    # One sample each: they end when all is weighed, however busy the computer is.
    found = clerks.run(f"sqlite:///{tmp_path / 'season.db'}", tmp_path, 16, 300, each=1, servers=2)
    assert found.clean, found
    assert found.confirmed == 2 * 16 and not found.refused


def test_a_small_season_goes_its_whole_way_in_as_many_goes_as_it_takes(tmp_path: Path) -> None:
    acts, goes, lots = count(1), 0, 2
    told = season.play(tmp_path, lots, over=lambda: next(acts) % 7 == 0)
    while told.reported < lots:
        assert (goes := goes + 1) < 20, told
        told = season.play(tmp_path, lots, over=lambda: next(acts) % 7 == 0)
    assert goes >= 4
    # Registered, planned, printed, bound and all that is between there and the report; nothing twice, nothing less.
    assert told.events == 18 * lots
    assert {"desk", "oven", "mill", "answer"} <= set(told.queues)
    key = KeyFile(tmp_path / "season.key").key()
    assert key is not None
    database = Database(f"sqlite:///{tmp_path / 'season.db'}")
    with database.read() as session:
        assert audit(session, key.known).clean
        assert not open_loads(session)
    database.close()
    large = Path(shutil.copytree(tmp_path, tmp_path.parent / "large"))
    assert season.growth(tmp_path, large, rounds=1)["the whole way"] > 0
    assert season.grown(2, 5, rounds=1).keys() >= {"release", "weigh dry", "the whole way"}
    with pytest.raises(ValueError, match="2 lots"):
        season.play(tmp_path, 4)


def test_the_curve_is_measured_on_postgresql_as_well() -> None:
    found = curve.curve((12, 24), postgresql=True)
    assert all(set(by_size) == {12, 24} and min(by_size.values()) > 0 for by_size in found.values())


def test_the_curve_is_drawn_with_every_name_and_its_last_value() -> None:
    drawn = curve.picture({"a lookup": {10: 0.2, 100: 0.3}, "a search": {10: 2.0, 100: 30.0}})
    assert ElementTree.fromstring(drawn).tag.endswith("svg")
    assert "a lookup, 0.3" in drawn and "a search, 30" in drawn and drawn.count("<polyline") == 2


def test_lots_come_in_waves_and_none_is_forgotten() -> None:
    days = [season.arriving(1000, day) for day in range(season.DAYS)]
    assert sum(days) == 1000 and min(days) >= 0
    assert max(days) > 2 * 1000 / season.DAYS
