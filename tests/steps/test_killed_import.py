"""An import that is killed on its way leaves nothing of itself; one that ends leaves all."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.makers import everything
from tests.result_files import NIR, Bench, row, taken_in, unknown_code, written

ROWS = 300
# The program that takes the file in, and is stopped dead once so many rows are done: no exception, no clean end.
KILLED = """
import os, signal, sys
from datetime import datetime, timezone
from tracker.domain.custody import Act
from tracker.steps.record_results import record_results
from tracker.storage.engine import Database
from tracker.storage.people import party

address, source, file, last = sys.argv[1:]
now = datetime(2026, 6, 22, tzinfo=timezone.utc)

def die(done, of):
    if done == int(last):
        os.kill(os.getpid(), signal.SIGKILL)

with Database(address).act("import analyses", "ana", {}) as session:
    content = open(file, "rb").read()
    record_results(session, source, "run.csv", content, Act(party(session, "ana"), now, now), progress=die)
"""


def run_of(bench: Bench, seed: int) -> bytes:
    """300 rows, those of the four bags at random places among codes that nobody knows."""
    codes = [*bench.codes, *(unknown_code(number) for number in range(ROWS - len(bench.codes)))]
    random.Random(seed).shuffle(codes)
    return written(row(code) for code in codes)


def import_until(bench: Bench, content: bytes, tmp_path: Path, last: int) -> int:
    """How the program ended that was to be killed after so many rows; 0 is no row, and it ends by itself."""
    file = tmp_path / "run.csv"
    file.write_bytes(content)
    words = [sys.executable, "-c", KILLED, bench.season.url, NIR, str(file), str(last)]
    return subprocess.run(words, check=False, timeout=60).returncode


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_an_import_killed_at_any_row_leaves_nothing_and_can_be_made_again(
    bench: Bench, tmp_path: Path, seed: int
) -> None:
    content = run_of(bench, seed)
    before = everything(bench.season)
    last = random.Random(seed).randint(1, ROWS)
    assert import_until(bench, content, tmp_path, last) == -9
    assert everything(bench.season) == before
    taken = taken_in(bench, content, minute=3000)
    assert (taken.rows, taken.taken, taken.parked, taken.known) == (ROWS, 4, ROWS - 4, False)


def test_an_import_killed_after_its_last_row_leaves_nothing(bench: Bench, tmp_path: Path) -> None:
    before = everything(bench.season)
    assert import_until(bench, run_of(bench, 6), tmp_path, ROWS) == -9
    assert everything(bench.season) == before


def test_an_import_that_is_let_run_leaves_all(bench: Bench, tmp_path: Path) -> None:
    content = run_of(bench, 7)
    assert import_until(bench, content, tmp_path, 0) == 0
    rows = everything(bench.season)
    assert (len(rows["analysis"]), len(rows["parked_row"]), len(rows["result_file"])) == (4, ROWS - 4, 1)
    assert taken_in(bench, content, minute=3000).known
