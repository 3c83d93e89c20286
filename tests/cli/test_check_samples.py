"""Check samples in a file that the command takes in: as at the door."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.check_runs import CHECK, frozen
from tests.makers import at, standing
from tests.result_files import NIR, Bench, bench, bench_template, row, written

__all__ = ["bench", "bench_template"]


def test_a_failed_check_is_said_and_holds_the_samples_of_its_file(bench: Bench, at_season: Any) -> None:
    frozen(bench)
    terminal = at_season(Path(bench.path))
    terminal.clock = at(1500)
    Path("run.csv").write_bytes(written([row(bench.codes[0]), row(CHECK, CP_pc_DM="26.5")]))
    answer = terminal.run("import-analyses", NIR, "run.csv", "--by", "ana")
    # Nothing is parked, so the command leaves with 0; the hold is for somebody to decide on.
    assert (answer.code, answer.err) == (0, "")
    assert "2 rows: 1 taken in, 0 parked" in answer.out
    assert "Check samples: 1 row; 1 sample put on hold." in answer.out
    assert "Check sample 1 lies +3.23 SD from its mean for CP (limits 1): 1-3s." in answer.out
    assert standing(bench.season, bench.samples[0]).on_hold
