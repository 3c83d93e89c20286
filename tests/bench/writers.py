"""Writers of one season at once: none may lose another's update, be turned away, or wait while others write again.

python -m tests.bench.writers ADDRESS --programs 4 --threads 2 --times 200
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from sqlalchemy import select

from tracker.storage.engine import Database
from tracker.storage.people import Producer

ROOT = Path(__file__).parents[2]
NAME = "Counted by many"


@dataclass(frozen=True)
class Queue:
    """What became of it. least: what the slowest writer had written when the first was done, of the same number.

    waits: seconds from asking to having written, for the longest and for a middling one.
    """

    writers: int
    times: int
    counted: int
    lost: int
    refused: int
    least: int
    longest_wait: float
    middle_wait: float
    seconds: float


def write(database: Database, times: int, begin: float) -> list[tuple[float, float]]:
    """One writer: when each of its acts was asked for and when it was confirmed. It thinks as little as it can."""
    time.sleep(max(0.0, begin - time.time()))
    told = []
    for _ in range(times):
        asked = time.time()
        with database.act("count", "", {}) as session:
            # Read, think, write: where writers do not take turns, one of two is written over.
            row = session.scalars(select(Producer).where(Producer.name == NAME)).one()
            row.phone = str(int(row.phone) + 1)
        told.append((asked, time.time()))
    return told


def program(address: str, threads: int, times: int, begin: float) -> list[list[tuple[float, float]]]:
    """One program with so many writers on its threads."""
    database = Database(address)
    # Everything is imported and compiled before the start is given.
    with database.read() as session:
        session.scalars(select(Producer).where(Producer.name == NAME)).one()
    with ThreadPoolExecutor(threads) as pool:
        told = list(pool.map(lambda _: write(database, times, begin), range(threads)))
    database.close()
    return told


def measure(address: str, *, programs: int, threads: int, times: int, head_start: float = 3.0) -> Queue:
    """Let them all write, each in a program of its own or on a thread, and look what is there in the end."""
    database = Database(address)
    with database.act("begin", "", {}) as session:
        now = datetime.now(UTC)
        session.add(Producer(name=NAME, phone="0", email="", place="", added_at=now))
    begin = time.time() + head_start
    words = [sys.executable, "-m", "tests.bench.writers", address, "--threads", str(threads)]
    words += ["--times", str(times), "--begin", str(begin), "--one"]
    running = [
        subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for _ in range(programs)
    ]
    told: list[list[tuple[float, float]]] = []
    refused, said = 0, ""
    for one in running:
        out, err = one.communicate(timeout=600)
        if one.returncode:
            refused, said = refused + 1, err
        else:
            told += json.loads(out)
    if not told:
        raise RuntimeError(f"no writer came to its end: {said[-2000:]}")
    with database.read() as session:
        counted = int(session.scalars(select(Producer.phone).where(Producer.name == NAME)).one())
    database.close()
    return _judged(told, programs * threads, times, counted, refused)


def _judged(
    told: Sequence[Sequence[tuple[float, float]]], writers: int, times: int, counted: int, refused: int
) -> Queue:
    first = min(one[-1][1] for one in told)
    waits = sorted(done - asked for one in told for asked, done in one)
    confirmed = sum(len(one) for one in told)
    return Queue(
        writers=writers,
        times=times,
        counted=counted,
        lost=confirmed - counted,
        refused=refused,
        least=min(sum(done <= first for _, done in one) for one in told),
        longest_wait=round(waits[-1], 4),
        middle_wait=round(median(waits), 4),
        seconds=round(max(one[-1][1] for one in told) - min(one[0][0] for one in told), 3),
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("address")
    asked.add_argument("--programs", type=int, default=8)
    asked.add_argument("--threads", type=int, default=1)
    asked.add_argument("--times", type=int, default=200)
    asked.add_argument("--begin", type=float, default=0.0)
    asked.add_argument("--one", action="store_true", help="be one of the programs")
    told = asked.parse_args()
    if told.one:
        print(json.dumps(program(told.address, told.threads, told.times, told.begin)))
    else:
        found = measure(told.address, programs=told.programs, threads=told.threads, times=told.times)
        print(json.dumps(asdict(found)))


if __name__ == "__main__":
    main()
