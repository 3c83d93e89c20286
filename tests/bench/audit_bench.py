"""The audit of a whole log against a plain scan of the same rows, and against what nobody can spare.

Each entry is true, since grown seasons have true logs. What no audit can spare: each row is read, and SHA-256 taken
of each entry, of its words, and of two hashes for each entry but one. That alone is the floor; the rest is Python's.
A season is measured in a program of its own, so that its memory is the audit's.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

from tests.bench.figures import Figure, in_turns
from tests.bench.grow import grow
from tests.conftest import build_season
from tests.makers import at, make_ground
from tracker.domain.signed_head import read_head, signed_by
from tracker.domain.tree import Run
from tracker.files.key_file import KeyFile
from tracker.lookups.log_audit import MANY, audit
from tracker.storage.engine import Database
from tracker.storage.log import raw_entries, raw_hashes

ROOT = Path(__file__).parents[2]
# Events of a sample from its lot to the fine grind.
LIFE = 16
# All that the audit reads: the scan fetches each column of each of their rows, and lets go of it at once.
TABLES = (
    *("event", "log_entry", "log_node", "entry_salt", "log_head", "party", "weighing", "coring_plan"),
    *("undone", "analysis", "result_value", "result_file", "report_version"),
)
HEADS = 200


def figures(quick: bool) -> list[Figure]:
    """Of a log of a million entries, and the memory beside that of a log of a tenth of it."""
    large = 320 if quick else 1_000_000
    small = measured(large // 10, 1)
    found = measured(large, 2)
    size = f"{large:,} entries"
    return [
        Figure("audit", f"the audit / a plain scan of the same rows, {size}", found["audit"], "x", 2.5),
        Figure("audit", "reading and hashing alone / the scan", found["floor"]),
        Figure("audit", f"memory, {size} / a tenth", found["memory"] / small["memory"], "x", 1.3),
        Figure("audit", "a signed head looked at / an entry", found["head"]),
    ]


def measured(entries: int, rounds: int) -> dict[str, float]:
    """Shares of the scan's time, a head's of an entry's, and megabytes, of a season with so many entries."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as folder:
        address = f"sqlite:///{folder}/season.db"
        build_season(address)
        season = Database(address, clock=lambda: at(0))
        grow(season, make_ground, entries // LIFE - 1)
        season.close()
        words = [sys.executable, "-m", "tests.bench.audit_bench", address, str(rounds)]
        ran = subprocess.run(words, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
        told: dict[str, float] = json.loads(ran.stdout)
    return told


def measure(address: str, rounds: int) -> dict[str, float]:
    season = Database(address)
    driver = season.engine.raw_connection()
    seen = []

    def scan() -> None:
        cursor = driver.cursor()
        for table in TABLES:
            for _ in cursor.execute(f"select * from {table}"):  # type: ignore[func-returns-value]
                pass

    def floor() -> None:
        with season.read() as session:
            place = 0
            for rows in raw_entries(session, MANY):
                run = Run([sha256(b"\x00" + row[16].encode()).digest() for row in rows])
                for row in rows:
                    sha256(row[17] + row[8].encode()).hexdigest()
                raw_hashes(session, 2 * place, 2 * (place + run.size) - 2)
                place += run.size

    def whole() -> None:
        with season.read() as session:
            found = audit(session, ())
        assert found.clean, found.faults[:3]
        seen.append(found.entries)

    times = in_turns({"audit": whole, "scan": scan, "floor": floor}, rounds)
    memory = peak()
    times["heads"] = in_turns({"heads": heads()}, 3)["heads"]
    driver.close()
    season.close()
    return {
        "entries": seen[0],
        "audit": times["audit"] / times["scan"],
        "floor": times["floor"] / times["scan"],
        "head": (times["heads"] / HEADS) / (times["audit"] / seen[0]),
        "memory": memory,
    }


def peak() -> float:
    """The most memory that this program had, in megabytes, without that of its parent (proc(5), VmHWM)."""
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (one for one in status.read_text().splitlines() if one.startswith("VmHWM:"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def heads() -> Callable[[], None]:
    """What the audit does with each head but for a few hashes: it is read, and its signature tried."""
    with tempfile.TemporaryDirectory(prefix="hay-bench-") as folder:
        key = KeyFile(Path(folder) / "season.key").make("hay.example")
    notes = [str(key.signed(size, sha256(bytes([size])).digest())) for size in range(HEADS)]

    def look() -> None:
        assert all(signed_by(read_head(note), key.known) for note in notes)

    return look


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], int(sys.argv[2]))))
