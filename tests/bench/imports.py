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
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from uuid import uuid4

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
FIRST_SCAN = datetime(2026, 6, 21, 6, 15, tzinfo=UTC)
# As long as what the program writes beside the values: an event's data, and its entry in the log.
DATA, ENTRY = "x" * 312, "x" * 653


@dataclass(frozen=True)
class Import:
    """Seconds of the processor that the program and the floors take; shares: a floor's time over the program's, in %.

    floor: all the rows that the program writes; without_log: those of the log's own three tables left out.
    """

    rows: int
    constituents: int
    digits: int | None
    program: float
    floor: float
    without_log: float
    share: float
    share_without_log: float
    rows_a_second: int


def season(folder: Path, rows: int, digits: int | None = None) -> tuple[Path, bytes]:
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
    return path, file_of(codes, digits=digits)


def file_of(
    codes: Sequence[str],
    *,
    digits: int | None = None,
    seed: int = 1,
    begun: datetime = FIRST_SCAN,
    apart: int = 12,
) -> bytes:
    """A scan of each sample, some seconds apart, with twelve values as alfalfa hay may well have them.

    digits: how many stand behind the mark; None for as many as are usual, so that many values come again and again.
    """
    rng = random.Random(seed)
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(["Sample", "Scanned", *CONSTITUENTS])
    for number, code in enumerate(codes):
        # Between the fine grind and the import, however many there are.
        scanned = begun + timedelta(seconds=apart * number % 7200)
        values = [_near(text, digits, rng) for text, _ in CONSTITUENTS.values()]
        lines.writerow([code, f"{scanned:%Y-%m-%d %H:%M:%S}", *values])
    return out.getvalue().encode()


def _near(text: str, digits: int | None, rng: random.Random) -> str:
    kept = len(text.split(".")[1]) if digits is None else digits
    return f"{float(text) * rng.uniform(0.93, 1.04):.{kept}f}"


def program(path: Path, content: bytes) -> float:
    database = Database(f"sqlite:///{path}")
    begun = time.process_time()
    with database.act("import", "ana", {}) as session:
        taken = record_results(session, NIR, "run.csv", content, act(session, "ana", MINUTE))
    took = time.process_time() - begun
    database.close()
    assert (taken.taken, taken.parked) == (content.count(b"\n") - 1, 0), taken
    return took


def floor(path: Path, content: bytes, log: bool = True) -> float:
    """The same rows into the same tables and indexes, as text, looked at by nobody: csv.reader and executemany.

    What the program works out is as long as the program's, and was there before the clock ran: names of events are
    drawn at random, since an index takes longer to find a place for those. log: the log's three tables too.
    """
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in PRAGMAS:
        connection.execute(f"pragma {pragma}")
    known = dict(connection.execute("select code, sample_id from tag"))
    lots = dict(connection.execute("select id, lot_id from sample"))
    names = [str(uuid4()) for _ in range(content.count(b"\n"))]
    begun = time.process_time()
    reader = csv.reader(io.StringIO(content.decode()))
    header = next(reader)
    rows = list(reader)
    connection.execute("begin immediate")
    (seq,) = connection.execute("select max(seq) from event").fetchone()
    connection.execute(
        "insert into result_file values (1, 1, 'run.csv', '', 'x', ?, 'ana', '2026-06-21 13:20:00.000000')",
        (content,),
    )
    at = "2026-06-21 11:30:00.000000"
    connection.executemany(
        "insert into event (seq, event_id, kind, lot_id, sample_id, occurred_at, occurred_offset, recorded_at, "
        '"by", role, device, note, late_reason, data) '
        "values (?, ?, 'scanned', ?, ?, ?, -300, ?, 'ana', 'analyst', 'office', '', '', ?)",
        (
            (seq + n, names[n], lots[known[row[0]]], known[row[0]], at, at, DATA)
            for n, row in enumerate(rows, start=1)
        ),
    )
    if log:
        _log_floor(connection, range(seq + 1, seq + 1 + len(rows)))
    connection.executemany(
        "insert into analysis values (?, ?, ?, 1, ?, ?, '[]')",
        ((n, names[n], known[row[0]], n + 1, row[1]) for n, row in enumerate(rows, start=1)),
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
    took = time.process_time() - begun
    connection.close()
    return took


def _log_floor(connection: sqlite3.Connection, numbers: range) -> None:
    """An entry and a salt for each event, and a hash for each leaf and for each gap between two."""
    connection.executemany("insert into log_entry values (?, ?)", ((n, ENTRY) for n in numbers))
    connection.executemany("insert into entry_salt values (?, ?)", ((n, b"0" * 16) for n in numbers))
    nodes = range(2 * numbers.start - 2, 2 * numbers.stop - 3)
    connection.executemany("insert into log_node values (?, ?)", ((n, b"0" * 32) for n in nodes))


def measure(rows: int, rounds: int = 1, digits: int | None = None) -> Import:
    """Program and floors in turns on fresh copies of one season; medians of the processor's time."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as made:
        folder = Path(made)
        path, content = season(folder, rows, digits)
        runs = {"floor": floor, "without log": partial(floor, log=False), "program": program}
        times: dict[str, list[float]] = {name: [] for name in runs}
        for _ in range(rounds):
            for name, run in runs.items():
                copy = Path(shutil.copy(path, folder / "copy.db"))
                times[name].append(run(copy, content))
                for left in folder.glob("copy.db*"):
                    left.unlink()
    least, without_log, ours = (sorted(times[name])[rounds // 2] for name in runs)
    return Import(
        rows,
        len(CONSTITUENTS),
        digits,
        round(ours, 3),
        round(least, 3),
        round(without_log, 3),
        round(100 * least / ours, 1),
        round(100 * without_log / ours, 1),
        int(rows / ours),
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rows", type=int, default=100_000)
    asked.add_argument("--rounds", type=int, default=1)
    asked.add_argument("--digits", type=int, help="behind each value's mark; else as many as are usual")
    told = asked.parse_args()
    print(json.dumps(asdict(measure(told.rows, told.rounds, told.digits))))


if __name__ == "__main__":
    main()
