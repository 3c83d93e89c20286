"""Writers take turns: nobody's update is lost, nobody is turned away, and nobody waits while others go twice."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from threading import Thread

import pytest

from tests.bench.writers import ROOT, measure
from tests.databases import Databases
from tracker.errors import Unavailable
from tracker.storage import engine as engine_module
from tracker.storage.engine import Database
from tracker.storage.turn import SUFFIX, TurnDidNotCome, turn

WRITERS, TIMES = 8, 200


def test_eight_writers_lose_nothing_and_none_is_kept_waiting_by_the_others(
    databases: Databases, database: Database
) -> None:
    found = measure(database.url, programs=4, threads=2, times=TIMES)
    assert (found.writers, found.counted, found.lost, found.refused) == (WRITERS, WRITERS * TIMES, 0, 0)
    # Counted in turns and not in time: a busy machine may let a program rest between two of its acts.
    assert found.overtaken <= 2, found
    assert found.longest_wait < 30


def in_line(season: Path, name: str, order: list[str]) -> Thread:
    """Somebody who stands in line now; `order` gets his name when his turn has come."""

    def stand() -> None:
        with turn(season, 20):
            order.append(name)
            time.sleep(0.01)

    thread = Thread(target=stand)
    thread.start()
    return thread


def test_whoever_came_first_goes_first(tmp_path: Path) -> None:
    season, order = tmp_path / "season.db", list[str]()
    with turn(season, 1):
        threads = []
        for name in "abcdefgh":
            threads.append(in_line(season, name, order))
            time.sleep(0.05)
        assert order == []
    for thread in threads:
        thread.join()
    assert order == list("abcdefgh")


def test_whoever_ends_goes_to_the_end_of_the_line(tmp_path: Path) -> None:
    season, order = tmp_path / "season.db", list[str]()
    with turn(season, 1):
        waiting = in_line(season, "waits", order)
        time.sleep(0.1)
    with turn(season, 5):
        order.append("again")
    waiting.join()
    assert order == ["waits", "again"]


def test_nobody_waits_longer_than_he_may_and_the_next_comes_all_the_same(tmp_path: Path) -> None:
    season = tmp_path / "season.db"
    with turn(season, 1), pytest.raises(TurnDidNotCome), turn(season, 0.1):
        pytest.fail("two at once")
    with turn(season, 0.1):
        pass


DIES = """
import os, sys
from pathlib import Path
from tracker.storage.turn import turn
with turn(Path(sys.argv[1]), 5):
    print("in", flush=True)
    sys.stdin.read()
    os._exit(9)
"""


def test_a_program_that_dies_in_its_turn_leaves_it_to_the_next(tmp_path: Path) -> None:
    season, order = tmp_path / "season.db", list[str]()
    words = [sys.executable, "-c", DIES, str(season)]
    with subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as dying:
        assert dying.stdout is not None and dying.stdout.readline() == b"in\n"
        waiting = in_line(season, "next", order)
        time.sleep(0.1)
        assert order == []
        dying.communicate()
    waiting.join()
    assert order == ["next"]


def test_an_act_whose_turn_does_not_come_is_refused_and_can_be_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine_module, "BUSY_MS", 100)
    season = Database(f"sqlite:///{tmp_path / 'season.db'}")
    season.migrate()
    with turn(tmp_path / "season.db", 1), pytest.raises(Unavailable) as caught, season.act("x", "ines", {}):
        pytest.fail("two at once")
    assert caught.value.code == "database-busy"
    with season.act("x", "ines", {}):
        pass
    season.close()


def test_where_no_line_can_be_formed_everybody_may_go_on(tmp_path: Path) -> None:
    # SQLite's own lock still keeps the data right.
    with turn(tmp_path / "no such folder" / "season.db", 0.1), turn(tmp_path / "none" / "season.db", 0.1):
        assert not list(tmp_path.iterdir())


def test_a_counter_that_was_spoilt_begins_again(tmp_path: Path) -> None:
    season = tmp_path / "season.db"
    (tmp_path / f"season.db{SUFFIX}").write_bytes(b"???")
    with turn(season, 0.1):
        pass
