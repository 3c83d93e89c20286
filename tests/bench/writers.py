"""Writers of one season at once: none may lose another's update, be turned away, or wait while others write again.

python -m tests.bench.writers ADDRESS --programs 4 --threads 2 --times 200
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import accumulate
from pathlib import Path
from statistics import median

from sqlalchemy import select

from tracker.storage.engine import Database
from tracker.storage.people import Producer

ROOT = Path(__file__).parents[2]
NAME = "Counted by many"
# Of one writer, in their order: when each of its acts was asked for, and when it was confirmed.
Told = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Queue:
    """What became of it. overtaken: how often another went while one waited once, of the writer who fared worst.

    waits: seconds from asking to having written, for the longest and for a middling one.
    """

    writers: int
    times: int
    counted: int
    lost: int
    refused: int
    overtaken: int
    longest_wait: float
    middle_wait: float
    seconds: float


def write(database: Database, times: int) -> Told:
    """One writer, who thinks as little as it can."""
    told = []
    for _ in range(times):
        asked = time.time()
        with database.act("count", "", {}) as session:
            # Read, think, write: where writers do not take turns, one of two is written over.
            row = session.scalars(select(Producer).where(Producer.name == NAME)).one()
            row.phone = str(int(row.phone) + 1)
        told.append((asked, time.time()))
    return told


def program(address: str, threads: int, times: int) -> list[Told]:
    """One program with so many writers on its threads; says that it is ready, and begins when it is told to."""
    database = Database(address)
    # Everything is imported and compiled before the start is given.
    with database.read() as session:
        session.scalars(select(Producer).where(Producer.name == NAME)).one()
    print("ready", flush=True)
    sys.stdin.readline()
    with ThreadPoolExecutor(threads) as pool:
        told = list(pool.map(lambda _: write(database, times), range(threads)))
    database.close()
    return told


def measure(address: str, *, programs: int, threads: int, times: int) -> Queue:
    """Let them all write, each in a program of its own or on a thread, and look what is there in the end."""
    database = Database(address)
    with database.act("begin", "", {}) as session:
        now = datetime.now(UTC)
        session.add(Producer(name=NAME, phone="0", email="", place="", added_at=now))
    words = [sys.executable, "-m", "tests.bench.writers", address, "--threads", str(threads)]
    words += ["--times", str(times), "--one"]
    gate, start = os.pipe()
    running = [
        subprocess.Popen(
            words, cwd=ROOT, stdin=gate, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for _ in range(programs)
    ]
    for one in running:
        assert one.stdout is not None
        one.stdout.readline()
    # All of them see the end of the same pipe.
    os.close(start)
    os.close(gate)
    told: list[Told] = []
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


def _judged(told: Sequence[Told], writers: int, times: int, counted: int, refused: int) -> Queue:
    waits = sorted(done - asked for one in told for asked, done in one)
    confirmed = sum(len(one) for one in told)
    return Queue(
        writers=writers,
        times=times,
        counted=counted,
        lost=confirmed - counted,
        refused=refused,
        overtaken=max(_overtaken(one, [other for other in told if other is not one]) for one in told),
        longest_wait=round(waits[-1], 4),
        middle_wait=round(median(waits), 4),
        seconds=round(max(one[-1][1] for one in told) - min(one[0][0] for one in told), 3),
    )


def _overtaken(one: Told, others: Sequence[Told]) -> int:
    """How often the busiest of the others went in a wait of this one, for half of the time that it waited.

    Where all stand in line it is once. Counted by waits alone, whoever writes on and on would hide the long ones.
    """
    ends = [[done for _, done in other] for other in others]
    waits = sorted(
        (max((bisect_left(end, done) - bisect_right(end, asked) for end in ends), default=0), done - asked)
        for asked, done in one
    )
    waited = list(accumulate(length for _, length in waits))
    return waits[bisect_left(waited, waited[-1] / 2)][0]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("address")
    asked.add_argument("--programs", type=int, default=8)
    asked.add_argument("--threads", type=int, default=1)
    asked.add_argument("--times", type=int, default=200)
    asked.add_argument("--one", action="store_true", help="be one of the programs")
    told = asked.parse_args()
    if told.one:
        print(json.dumps(program(told.address, told.threads, told.times)))
    else:
        found = measure(told.address, programs=told.programs, threads=told.threads, times=told.times)
        print(json.dumps(asdict(found)))


if __name__ == "__main__":
    main()
