"""A clerk's program that is killed at random moments of its work, again and again, and what is left each time.

    python -m tests.bench.faults --kills 200 --seed 1 [--on postgresql]

The program prints tags, takes result files in, takes phones' entries in and weighs, in an order drawn from the seed,
and says each act only after it was confirmed. After every kill all that was confirmed must be there, and nothing may
be there by halves; at the end the whole log is audited.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import tempfile
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels.payload import make_code
from tests.conftest import build_season
from tests.databases import Cluster, begin_cluster
from tests.makers import BASE, at, make_received
from tests.phones import LOT, Phone
from tests.result_files import WET, WET_MAP, add_map, wet_row, wet_written
from tracker.domain.custody import Act
from tracker.errors import TrackerError
from tracker.lookups.log_audit import audit
from tracker.lookups.log_check import check_log
from tracker.steps.print_tags import print_tags
from tracker.steps.record_results import record_results
from tracker.steps.take_entries import take_entries
from tracker.steps.weigh_in import weigh
from tracker.storage.analysis import Analysis, ParkedRow, ResultFile
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.field import FieldAnswer, FieldEntry
from tracker.storage.intake import Weighing
from tracker.storage.log import EntrySalt, LogEntry
from tracker.storage.people import party
from tracker.storage.tags import PrintRun, Tag

SAMPLES = 12
# How far the office's clock may be off at any moment of a run with jumps.
HOURS = (-72, -24, -5, -1, 0, 0, 1, 5, 24, 72)
Told = dict[str, Any]
Say = Callable[[Told], None]


@dataclass
class Report:
    """kills: of which so many hit a program at work; confirmed: acts by kind; unsure: of which nobody could say."""

    on: str
    seed: int
    kills: int = 0
    confirmed: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    unsure: int = 0
    lost: list[Told] = field(default_factory=list)
    halves: list[str] = field(default_factory=list)
    audited: int = 0
    faults: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def clean(self) -> bool:
        return not (self.lost or self.halves or self.faults)


def build(address: str) -> None:
    """The people's season with some received samples and a laboratory's column map."""
    build_season(address)
    season = Database(address, clock=lambda: at(300))
    for number in range(SAMPLES):
        with season.act("make", "tove", {}) as session:
            make_received(session, field=f"Field {number}")
    with season.act("map", "ana", {}) as session:
        add_map(session, WET, WET_MAP, kind="laboratory")
    season.close()


# The acts of the program, each with what is said once it is confirmed.


def doing(session: Session, season: Database, who: str) -> Act:
    """Who does it, at the time that the clock says, whatever it says."""
    now = season.clock()
    return Act(party(session, who), now, now.astimezone(UTC))


def print_some(season: Database, rng: random.Random) -> Told:
    count = rng.randint(1, 30)
    with season.act("print", "tove", {}) as session:
        run, printed = print_tags(
            session, [None] * count, doing(session, season, "tove"), base_url=BASE, layout={"stock": "roll"}
        )
        return {"run": run.id, "codes": [one.tag.code for one in printed]}


def weigh_one(season: Database, rng: random.Random) -> Told:
    grams = f"{rng.uniform(15, 25):.1f}"
    with season.act("weigh", "carl", {}) as session:
        sample = session.get_one(Sample, rng.randint(1, SAMPLES))
        row = weigh(session, sample, "tare", grams, doing(session, season, "carl"))
        return {"event": row.event_id, "sample": sample.id, "grams": grams}


def take_file(season: Database, rng: random.Random) -> Told:
    with season.read() as session:
        known = list(session.scalars(select(Tag.code).where(Tag.sample_id.is_not(None))))
    codes = [*rng.sample(known, 4), *(make_code(rng) for _ in range(rng.randint(3, 40)))]
    rng.shuffle(codes)
    content = wet_written(wet_row(code, CP=f"{rng.uniform(150, 200):.1f}") for code in codes)
    with season.act("import", "ana", {}) as session:
        taken = record_results(session, WET, "run.csv", content, doing(session, season, "ana"))
    return {"file": taken.file_id, "rows": len(codes), "sha256": taken.sha256}


def take_phone(season: Database, rng: random.Random) -> Told:
    phone = Phone(device=str(uuid.uuid4()))
    entries = []
    for number in range(rng.randint(1, 8)):
        drawn = rng.getrandbits(62)
        name = str(
            uuid.UUID(int=(0x0190B1F0 << 96) | (rng.getrandbits(16) << 80) | (7 << 76) | (2 << 62) | drawn)
        )
        made = phone.entry("register lot", 10 + number, {**LOT, "field": f"{name}"[-12:]}, event_id=name)
        entries.append(made)
    batch = phone.batch(300, *entries)
    with season.act("sync", "tove", {}) as session:
        answers = take_entries(session, batch, party(session, "tove"), season.clock())
    return {"entries": [(str(one.event_id), one.answer) for one in answers]}


ACTS: dict[str, Callable[[Database, random.Random], Told]] = {
    "print": print_some,
    "weigh": weigh_one,
    "import": take_file,
    "sync": take_phone,
}


def work(address: str, seed: int, say: Say, jumps: bool = False) -> None:
    """Act after act until somebody ends it. jumps: the clock goes hours and days back and forth between acts."""
    rng = random.Random(seed)
    hours = [0]
    season = Database(address, clock=lambda: at(300 + 60 * hours[0]))
    while True:
        if jumps:
            hours[0] = rng.choice(HOURS)
        act_once(season, rng, say)


def act_once(season: Database, rng: random.Random, say: Say) -> None:
    """Any act, and what became of it."""
    kind = rng.choices(list(ACTS), (2, 5, 2, 3))[0]
    try:
        say({"kind": kind, **ACTS[kind](season, rng)})
    except TrackerError as refused:
        say({"kind": kind, "refused": refused.code})


@contextmanager
def at_work(address: str, seed: int, jumps: bool = False) -> Iterator[tuple[int, int]]:
    """The program as a process of its own, begun in no time since everything is imported; its id and what it says."""
    child, reads = _begun(address, seed, jumps)
    try:
        yield child, reads
    finally:
        os.close(reads)


def _begun(address: str, seed: int, jumps: bool = False) -> tuple[int, int]:
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reads)
        try:
            work(address, seed, lambda told: _line(writes, told), jumps)
        finally:
            os._exit(3)
    os.close(writes)
    return child, reads


def _line(to: int, told: Told) -> None:
    os.write(to, json.dumps(told).encode() + b"\n")


def listening(reads: int, seconds: float) -> bytes:
    """What is said within so many seconds, so that a full pipe holds nobody up."""
    os.set_blocking(reads, False)
    said, end = b"", time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            said += os.read(reads, 65536)
        except BlockingIOError:
            time.sleep(min(0.002, max(0.0, end - time.monotonic())))
    os.set_blocking(reads, True)
    return said


def there(session: Session, told: Told) -> bool:
    """Whether everything that was confirmed is in the season."""
    kind = told["kind"]
    if kind == "print":
        codes = set(session.scalars(select(Tag.code).where(Tag.run_id == told["run"])))
        return codes == set(told["codes"])
    if kind == "weigh":
        row = session.scalar(select(Weighing).where(Weighing.event_id == told["event"]))
        return row is not None and (row.sample_id, str(row.grams)) == (told["sample"], told["grams"])
    if kind == "import":
        row = session.get(ResultFile, told["file"])
        return row is not None and row.sha256 == told["sha256"] and _rows_of(session, row.id) == told["rows"]
    names = [name for name, _ in told["entries"]]
    wanted = select(FieldAnswer.event_id, FieldAnswer.answer).where(FieldAnswer.event_id.in_(names))
    answers = dict(session.execute(wanted).all())
    return all(answers.get(name) == answer for name, answer in told["entries"] if answer != "later")


def _rows_of(session: Session, file: int) -> int:
    analyses = select(func.count()).select_from(Analysis).where(Analysis.file_id == file)
    parked = select(func.count()).select_from(ParkedRow).where(ParkedRow.file_id == file)
    return (session.scalar(analyses) or 0) + (session.scalar(parked) or 0)


def halves(session: Session) -> list[str]:
    """What of an act is there without the rest of it."""
    found = []
    for run in session.scalars(select(PrintRun)):
        tags = session.scalar(select(func.count()).select_from(Tag).where(Tag.run_id == run.id))
        if tags != run.count:
            found.append(f"print run {run.id} has {tags} of {run.count} tags")
    for file in session.scalars(select(ResultFile)):
        lines = file.content.count(b"\n") - 1
        if _rows_of(session, file.id) != lines:
            found.append(f"file {file.id} has {_rows_of(session, file.id)} of {lines} rows")
    weighed = select(func.count()).select_from(EventRow).where(EventRow.kind == "tare weighed")
    weighings = select(func.count()).select_from(Weighing).where(Weighing.what == "tare")
    if session.scalar(weighed) != session.scalar(weighings):
        found.append("events and weighings differ in number")
    events = session.scalar(select(func.count()).select_from(EventRow))
    last = session.scalar(select(func.max(EventRow.seq)))
    for row in (LogEntry, EntrySalt):
        if session.scalar(select(func.count()).select_from(row)) != events or last != events:
            found.append(f"{events} events, the last {last}, and another number of {row.__tablename__}")
    kept = session.scalar(select(func.count()).select_from(FieldEntry)) or 0
    answered = session.scalar(select(func.count()).select_from(FieldAnswer)) or 0
    if kept != answered:
        found.append(f"{kept} entries of phones and {answered} answers")
    return found


def judge(address: str, said: list[Told], report: Report) -> None:
    """Hold what was said against what is there."""
    season = Database(address)
    with season.read() as session:
        for told in said:
            if "refused" in told:
                report.refused[told["refused"]] += 1
                report.unsure += told["refused"] == "perhaps-recorded"
            else:
                report.confirmed[told["kind"]] += 1
                if not there(session, told):
                    report.lost.append(told)
        report.halves += halves(session)
    season.close()


def audited(address: str, report: Report) -> None:
    """The whole log, its tree, every table that hangs on it, and every standing against its events."""
    season = Database(address)
    with season.read() as session:
        whole = audit(session, ())
        report.audited = whole.entries
        report.faults += [fault.words for fault in whole.faults]
        report.faults += check_log(session).faults
    season.close()


def kill_often(address: str, kills: int, seed: int, *, on: str, jumps: bool = False) -> Report:
    """Kill a program at work so often, each time within 0.8 s of its first word."""
    rng = random.Random(seed)
    report = Report(on, seed)
    begun = time.monotonic()
    for number in range(kills):
        with at_work(address, seed * 100_003 + number, jumps) as (child, reads):
            first = os.read(reads, 65536)
            first += listening(reads, rng.uniform(0.0, 0.8))
            os.kill(child, signal.SIGKILL)
            _, status = os.waitpid(child, 0)
            report.kills += os.WIFSIGNALED(status)
            rest = b""
            while part := os.read(reads, 65536):
                rest += part
            lines = (first + rest).split(b"\n")[:-1]
        judge(address, [json.loads(line) for line in lines], report)
    audited(address, report)
    report.seconds = round(time.monotonic() - begun, 1)
    return report


def restart_under_load(
    cluster: Cluster, address: str, restarts: int, seed: int, *, workers: int = 4, work: float = 3.0
) -> Report:
    """Stop the server at once in the middle of work and begin it again, while several programs go on.

    work: at the most so many seconds from one stop to the next.
    """
    rng = random.Random(seed)
    report = Report("postgresql, restarted", seed)
    begun = time.monotonic()
    pipes, children = [], []
    for number in range(workers):
        child, reads = _begun(address, seed * 7 + number)
        pipes.append(reads)
        children.append(child)
    said = dict.fromkeys(pipes, b"")
    for _ in range(restarts):
        end = time.monotonic() + rng.uniform(work / 2, work)
        while time.monotonic() < end:
            for one in pipes:
                said[one] += listening(one, 0.02)
        cluster.stop("immediate")
        report.kills += 1
        cluster.start()
    for one in pipes:
        said[one] += listening(one, 0.3)
    for child in children:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    for one in pipes:
        while part := os.read(one, 65536):
            said[one] += part
        os.close(one)
        judge(address, [json.loads(line) for line in said[one].split(b"\n")[:-1]], report)
    report.halves = sorted(set(report.halves))
    audited(address, report)
    report.seconds = round(time.monotonic() - begun, 1)
    return report


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--on", choices=("sqlite", "postgresql", "restarts"), default="sqlite")
    asked.add_argument("--jumps", action="store_true", help="the clock goes hours and days back and forth")
    told = asked.parse_args()
    if told.on == "sqlite":
        with tempfile.TemporaryDirectory(prefix="hay-faults-") as folder:
            address = f"sqlite:///{Path(folder) / 'season.db'}"
            build(address)
            report = kill_often(address, told.kills, told.seed, on=told.on, jumps=told.jumps)
    else:
        cluster = begin_cluster(durable=True)
        try:
            address = cluster.template("faults", build)
            if told.on == "restarts":
                report = restart_under_load(cluster, address, told.kills, told.seed)
            else:
                report = kill_often(address, told.kills, told.seed, on=told.on, jumps=told.jumps)
        finally:
            cluster.end()
    print(json.dumps({**vars(report), "clean": report.clean}, indent=1))


if __name__ == "__main__":
    main()
