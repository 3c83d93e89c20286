"""A file of results against a plain csv reader and executemany into the same tables.

python -m tests.bench.imports --rows 100000
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import random
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.bench.grow import grow
from tests.conftest import build_season
from tests.makers import act, make_ground
from tests.result_files import NIR, add_map, column
from tracker.steps.record_results import record_results
from tracker.storage.engine import PRAGMAS, Database

CONSTITUENTS = {
    "DM": ("93.0", "%"),
    "CP": ("18.6", "%"),
    "ADF": ("31.0", "%"),
    "NDF": ("40.0", "%"),
    "ash": ("8.9", "%"),
    "EE": ("2.1", "%"),
    "ADL": ("6.2", "%"),
    "Ca": ("1.31", "%"),
    "P": ("0.27", "%"),
    "K": ("2.31", "%"),
    "Mg": ("0.28", "%"),
    "GH": ("1.2", "1"),
}
MAP: dict[str, Any] = {
    "sample": "Sample",
    "scanned_at": "Scanned",
    "instrument": "NIR 1",
    "time_zone_offset": "-05:00",
    "columns": [
        column(
            code,
            code,
            unit,
            basis="as analysed" if code == "DM" else "dry matter",
            method="NIR",
            calibration="hay 2026-1",
        )
        for code, (_, unit) in CONSTITUENTS.items()
    ],
}
MINUTE = 1400


@dataclass(frozen=True)
class Import:
    """seconds of the program and of the floor; share: the floor's time over the program's, in percent."""

    rows: int
    constituents: int
    program: float
    floor: float
    share: float
    rows_a_second: int


def season(folder: Path, rows: int) -> tuple[Path, bytes]:
    """A season with so many ground samples, and the file that the instrument makes of them."""
    path = folder / "season.db"
    build_season(f"sqlite:///{path}")
    database = Database(f"sqlite:///{path}")
    with database.act("map", "ana", {}) as session:
        add_map(session, NIR, MAP)
    codes = grow(database, make_ground, rows - 1)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("commit")
        connection.connection.execute("pragma wal_checkpoint(truncate)")  # type: ignore[attr-defined]
    database.close()
    return path, file_of(codes)


def file_of(codes: Sequence[str], seed: int = 1) -> bytes:
    """Twelve values of each sample, around what alfalfa hay has."""
    rng = random.Random(seed)
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(["Sample", "Scanned", *CONSTITUENTS])
    for code in codes:
        values = [
            f"{float(text) * rng.uniform(0.97, 1.03):.{len(text.split('.')[1])}f}"
            for text, _ in CONSTITUENTS.values()
        ]
        lines.writerow([code, "2026-06-21 06:30:00", *values])
    return out.getvalue().encode()


def _near(text: str, rng: random.Random) -> str:
    return f"{float(text) * rng.uniform(0.97, 1.03):.{len(text.split('.')[1])}f}"


def program(path: Path, content: bytes) -> float:
    database = Database(f"sqlite:///{path}")
    begun = time.perf_counter()
    with database.act("import", "ana", {}) as session:
        taken = record_results(session, NIR, "run.csv", content, act(session, "ana", MINUTE))
    took = time.perf_counter() - begun
    database.close()
    assert (taken.taken, taken.parked) == (content.count(b"\n") - 1, 0), taken
    return took


def floor(path: Path, content: bytes) -> float:
    """The same rows into the same tables and indexes, as text, looked at by nobody: csv.reader and executemany."""
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in PRAGMAS:
        connection.execute(f"pragma {pragma}")
    known = dict(connection.execute("select code, sample_id from tag"))
    lots = dict(connection.execute("select id, lot_id from sample"))
    begun = time.perf_counter()
    reader = csv.reader(io.StringIO(content.decode()))
    header = next(reader)
    rows = list(reader)
    connection.execute("begin immediate")
    (seq,) = connection.execute("select max(seq) from event").fetchone()
    connection.execute(
        "insert into result_file values (1, 1, 'run.csv', '', 'x', ?, 'ana', '2026-06-21 13:20:00.000000')",
        (content,),
    )
    at, data = "2026-06-21 11:30:00.000000", '{"analysis":"a","source":"bench NIR","line":"1"}'
    connection.executemany(
        "insert into event (seq, event_id, kind, lot_id, sample_id, occurred_at, occurred_offset, recorded_at, "
        '"by", role, device, note, late_reason, data) '
        "values (?, ?, 'scanned', ?, ?, ?, -300, ?, 'ana', 'analyst', 'office', '', '', ?)",
        (
            (seq + n, f"e{n}", lots[known[row[0]]], known[row[0]], at, at, data)
            for n, row in enumerate(rows, start=1)
        ),
    )
    connection.executemany(
        "insert into analysis values (?, ?, ?, 1, ?, ?, '[]')",
        ((n, f"e{n}", known[row[0]], n + 1, row[1]) for n, row in enumerate(rows, start=1)),
    )
    connection.executemany(
        "insert into result_value (analysis_id, constituent, value, unit, basis, method, calibration, qualifier) "
        "values (?, ?, ?, '%', 'dry matter', 'NIR', 'hay 2026-1', '')",
        (
            (n, name, row[k])
            for n, row in enumerate(rows, start=1)
            for k, name in enumerate(header[2:], start=2)
        ),
    )
    connection.executemany(
        "update standing set state = 'scanned', last_at = ? where sample_id = ?",
        ((at, known[row[0]]) for row in rows),
    )
    connection.execute("commit")
    took = time.perf_counter() - begun
    connection.close()
    return took


def measure(rows: int, rounds: int = 1) -> Import:
    """Program and floor in turns on fresh copies of one season; medians."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as made:
        folder = Path(made)
        path, content = season(folder, rows)
        times: dict[str, list[float]] = {"program": [], "floor": []}
        for _ in range(rounds):
            for name, run in (("floor", floor), ("program", program)):
                copy = Path(shutil.copy(path, folder / "copy.db"))
                times[name].append(run(copy, content))
                for left in folder.glob("copy.db*"):
                    left.unlink()
    ours, least = (sorted(times[name])[rounds // 2] for name in ("program", "floor"))
    return Import(
        rows,
        len(CONSTITUENTS),
        round(ours, 3),
        round(least, 3),
        round(100 * least / ours, 1),
        int(rows / ours),
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=100_000)
    asked.add_argument("--rounds", type=int, default=1)
    told = asked.parse_args()
    print(json.dumps(asdict(measure(told.rows, told.rounds))))


if __name__ == "__main__":
    main()
