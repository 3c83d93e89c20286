"""An import that is killed on its way leaves nothing of itself; one that ends leaves all."""

from __future__ import annotations

import os
import random
import signal

import pytest

from tests.makers import at, everything
from tests.result_files import NIR, Bench, row, taken_in, unknown_code, written
from tracker.domain.custody import Act
from tracker.steps.record_results import record_results
from tracker.storage.engine import Database
from tracker.storage.people import party

ROWS = 300


def run_of(bench: Bench, seed: int) -> bytes:
    """300 rows, those of the four bags at random places among codes that nobody knows."""
    codes = [*bench.codes, *(unknown_code(number) for number in range(ROWS - len(bench.codes)))]
    random.Random(seed).shuffle(codes)
    return written(row(code) for code in codes)


def import_until(bench: Bench, content: bytes, last: int) -> int:
    """How a program ended that takes the file in and is killed after so many rows; after 0 it ends by itself.

    It is a process of its own, begun in no time since everything is imported.
    """
    child = os.fork()
    if child == 0:
        try:
            take_in(bench.season.url, content, last)
            os._exit(0)
        finally:
            os._exit(3)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def take_in(address: str, content: bytes, last: int) -> None:
    """The program's part: it is stopped dead once so many rows are done, with no exception and no clean end."""

    def die(done: int, of: int) -> None:
        if done == last:
            os.kill(os.getpid(), signal.SIGKILL)

    now = at(2 * 24 * 60)
    with Database(address).act("import analyses", "ana", {}) as session:
        record_results(session, NIR, "run.csv", content, Act(party(session, "ana"), now, now), progress=die)


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_an_import_killed_at_any_row_leaves_nothing_and_can_be_made_again(bench: Bench, seed: int) -> None:
    content = run_of(bench, seed)
    before = everything(bench.season)
    last = random.Random(seed).randint(1, ROWS)
    assert import_until(bench, content, last) == -9
    assert everything(bench.season) == before
    taken = taken_in(bench, content, minute=3000)
    assert (taken.rows, taken.taken, taken.parked, taken.known) == (ROWS, 4, ROWS - 4, False)


def test_an_import_killed_after_its_last_row_leaves_nothing(bench: Bench) -> None:
    before = everything(bench.season)
    assert import_until(bench, run_of(bench, 6), ROWS) == -9
    assert everything(bench.season) == before


def test_an_import_that_is_let_run_leaves_all(bench: Bench) -> None:
    content = run_of(bench, 7)
    assert import_until(bench, content, 0) == 0
    rows = everything(bench.season)
    assert (len(rows["analysis"]), len(rows["parked_row"]), len(rows["result_file"])) == (4, ROWS - 4, 1)
    assert taken_in(bench, content, minute=3000).known
