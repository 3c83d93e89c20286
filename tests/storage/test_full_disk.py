"""A full disk: every act is refused in words, nothing confirmed is lost or there by halves, and work goes on."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench import faults
from tests.databases import Cluster, Databases, Files
from tests.disks import fill, small_disk
from tests.makers import at
from tracker.errors import Unavailable
from tracker.lookups.bench_queue import waiting
from tracker.storage.engine import Database

# Enough for each kind of act to be tried often.
MOST_ACTS = 300


@pytest.fixture(scope="module")
def worked(databases: Databases) -> str:
    """The address of a season that programs can work on, never opened by a test."""
    return databases.template("worked", faults.build)


def opened(address: str) -> Database:
    return Database(address, clock=lambda: at(300))


def until_all_are_refused(season: Database, rng: random.Random) -> tuple[list[faults.Told], Counter[str]]:
    """Act after act until one of every kind was refused; what was confirmed, and the refusals by kind."""
    said: list[faults.Told] = []
    refused: Counter[str] = Counter()
    for number in range(MOST_ACTS):
        # Each in turn, so that the one that takes least room is tried when there is none.
        kind = list(faults.ACTS)[number % len(faults.ACTS)]
        try:
            said.append({"kind": kind, **faults.ACTS[kind](season, rng)})
        except Unavailable as full:
            assert full.code == "disk-full", full
            assert "Make room" in full.remedy and "Nothing was recorded" in full.remedy
            refused[kind] += 1
        if len(refused) == len(faults.ACTS):
            break
    return said, refused


def nothing_is_amiss(address: str, said: list[faults.Told]) -> None:
    report = faults.Report("full disk", 0)
    faults.judge(address, said, report)
    faults.audited(address, report)
    assert report.clean, report


def goes_on(season: Database, rng: random.Random) -> list[faults.Told]:
    """One act of each kind, all of them confirmed."""
    return [{"kind": kind, **act(season, rng)} for kind, act in faults.ACTS.items()]


def questions_go_on(season: Database) -> None:
    with season.read() as session:
        assert len(waiting(session)) >= faults.SAMPLES


def tried(address: str, season: Database, make_room: Callable[[], Database]) -> None:
    rng = random.Random(5)
    said, refused = until_all_are_refused(season, rng)
    assert set(refused) == set(faults.ACTS), "the disk was never full for every kind of act"
    questions_go_on(season)
    nothing_is_amiss(address, said)
    again = make_room()
    said += goes_on(again, rng)
    nothing_is_amiss(address, said)
    again.close()


def on_a_small_disk(databases: Databases, worked: str, disk: Path) -> str:
    """The address of a copy whose own rows lie on this disk; what a server writes of them first lies on its own."""
    if isinstance(databases, Files):
        return f"sqlite:///{shutil.copy(worked.removeprefix('sqlite:///'), disk / 'season.db')}"
    if databases.user:
        shutil.chown(disk, databases.user)
    databases.execute(f"create tablespace small location '{disk}'")
    return databases.moved_copy(worked, "small")


def test_on_a_full_disk_all_is_refused_in_words_and_goes_on_with_no_new_start_when_there_is_room(
    databases: Databases, worked: str, tmp_path: Path
) -> None:
    place = databases.folder / "small"
    with small_disk(place, 6 if isinstance(databases, Files) else 48) as disk:
        address = on_a_small_disk(databases, worked, disk)
        season = opened(address)
        questions_go_on(season)
        ballast = fill(disk, leave=200_000)

        def make_room() -> Database:
            ballast.unlink()
            return season

        try:
            tried(address, season, make_room)
        finally:
            season.close()
            databases.drop(address)
            if isinstance(databases, Cluster):
                databases.execute("drop tablespace small")
