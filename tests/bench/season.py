"""A season of a programme in little time: every lot goes its way by the real steps, day by day, as fast as it can.

    python -m tests.bench.season --lots 1000

Lots come as cuttings do, in three waves; the bench takes so many a day, and what it does not take waits. What is
told: how long each queue became, which act took longest, how much the database grew with each lot, and whether acts
took longer at the end than at the beginning. curve() measures questions and acts in seasons of up to a million
samples.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from statistics import median
from typing import Any, TypeVar

from sqlalchemy import text
from sqlalchemy.orm import Session

from tests.bench.acts_bench import season_with
from tests.bench.figures import Figure
from tests.bench.imports import MAP, file_of
from tests.conftest import build_season
from tests.makers import BASE, SEAL, act, at, make_bag, make_lot, make_plan
from tests.result_files import NIR, SETTINGS, add_map
from tracker.lookups.find import sample_named
from tracker.lookups.lot_report import report_body
from tracker.lookups.lots import lots_page
from tracker.lookups.page import USUAL
from tracker.lookups.search import search
from tracker.lookups.tag_owner import tag_owner
from tracker.steps.bag_cores import bag_cores, seal_bag
from tracker.steps.core_lot import core_lot
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.hand_over import relinquish
from tracker.steps.hold import hold, lift_hold
from tracker.steps.print_tags import print_tags
from tracker.steps.receive import receive
from tracker.steps.record_results import record_results
from tracker.steps.release_results import release_results
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.people import party

DAYS = 130
DAY = 24 * 60
# When the three cuttings come in, as a share of the season, and how broad each wave is.
WAVES = ((0.15, 0.05), (0.45, 0.06), (0.75, 0.06))
# What the bench takes a day, over the mean of the season.
ROOM = 1.4
# Samples that the curve brings to the mill by the real steps, for the import.
GROUND = 150
Result = TypeVar("Result")


@dataclass
class Season:
    """What a simulated season told. queues: the longest each became, and on which day; seconds by act."""

    lots: int
    events: int = 0
    reported: int = 0
    seconds: float = 0.0
    queues: dict[str, tuple[int, int]] = field(default_factory=dict)
    slowest: tuple[str, float] = ("", 0.0)
    middle_ms: dict[str, float] = field(default_factory=dict)
    growth: dict[str, float] = field(default_factory=dict)
    bytes_a_lot: int = 0
    bytes_an_event: int = 0


def arriving(lots: int, day: int) -> int:
    """How many lots are cored on this day."""

    def until(end: float) -> float:
        shares = [0.5 * (1 + math.erf((end - middle) / (width * math.sqrt(2)))) for middle, width in WAVES]
        return lots * sum(shares) / len(shares)

    # Everything is rounded at the end of a day, so that no lot is lost between two.
    last = lots if day == DAYS - 1 else round(until((day + 1) / DAYS))
    return last - (0 if day == 0 else round(until(day / DAYS)))


class Programme:
    """The season as it goes on: what waits at each station, and how long each act took."""

    def __init__(self, season: Database, rng: random.Random) -> None:
        self.season = season
        self.rng = rng
        self.took: dict[str, list[float]] = defaultdict(list)
        self.waiting: dict[str, list[tuple[int, str]]] = {
            name: [] for name in ("desk", "oven", "in oven", "dry", "mill", "scan", "answer")
        }
        self.longest: dict[str, tuple[int, int]] = {}
        self.minute = 0.0
        self.lots = 0

    def act(self, name: str, who: str, step: Callable[[Any, Any], Result]) -> Result:
        """One act, confirmed on the disk, a few seconds after the one before."""
        self.minute += 0.05
        begun = time.perf_counter()
        with self.season.act(name, who, {}) as session:
            result = step(session, act(session, who, self.minute))
        self.took[name].append(time.perf_counter() - begun)
        return result

    def core(self) -> None:
        self.lots += 1
        number = self.lots
        lot = self.act("register", "tove", lambda s, a: make_lot(s, field=f"Field {number}").id)
        sample = self.act("plan", "tove", lambda s, a: make_plan(s, lot, minute=self.minute).id)
        code = self.act(
            "print tag",
            "tove",
            lambda s, a: print_tags(s, [lot], a, base_url=BASE, layout={"stock": "roll"})[1][0].tag.code,
        )
        begun = at(self.minute)
        self.act("core", "tove", lambda s, a: core_lot(s, s.get_one(Sample, sample), a, started_at=begun))
        self.act("bag", "tove", lambda s, a: bag_cores(s, s.get_one(Sample, sample), code, a))
        self.act("seal", "tove", lambda s, a: seal_bag(s, s.get_one(Sample, sample), SEAL, a))
        self.act(
            "hand over", "tove", lambda s, a: relinquish(s, s.get_one(Sample, sample), party(s, "carl"), a)
        )
        self.waiting["desk"].append((sample, code))

    def desk(self, sample: int) -> None:
        gram = self.rng.uniform(-2, 2)
        self.act(
            "receive",
            "carl",
            lambda s, a: receive(
                s, s.get_one(Sample, sample), a, condition=("dry",), seal_state="intact", seal_read=SEAL
            ),
        )
        self.act(
            "weigh tare",
            "carl",
            lambda s, a: weigh(s, s.get_one(Sample, sample), "tare", f"{18.6 + gram / 9:.1f}", a),
        )
        self.act(
            "weigh fresh",
            "carl",
            lambda s, a: weigh(s, s.get_one(Sample, sample), "fresh", f"{268.6 + gram:.1f}", a),
        )

    def dry(self, sample: int) -> None:
        gram = self.rng.uniform(-1, 1)
        self.act(
            "weigh dry",
            "carl",
            lambda s, a: weigh(s, s.get_one(Sample, sample), "dry", f"{251.1 + gram:.1f}", a),
        )

    def mill(self, sample: int) -> None:
        for how in ("coarse", "fine"):
            self.act(
                f"grind {how}",
                "ana",
                lambda s, a, how=how: grind(s, s.get_one(Sample, sample), how, a, mill="M1"),
            )

    def scan(self, codes: list[str], day: int) -> None:
        when = at(self.minute - 1).strftime("%Y-%m-%d %H:%M:%S")
        content = file_of(codes, day).replace(b"2026-06-21 06:30:00", when.encode())
        self.act("import a day", "ana", lambda s, a: record_results(s, NIR, f"{day}.csv", content, a))

    def answer(self, sample: int) -> None:
        def release(session: Any, done: Any) -> None:
            body = report_body(session, sample_with_lot(session, sample), SETTINGS)
            release_results(session, session.get_one(Sample, sample), body, done)

        self.act("release", "lena", release)

    def take(self, station: str, most: int) -> list[tuple[int, str]]:
        """What the station takes today; the rest waits."""
        taken, self.waiting[station] = self.waiting[station][:most], self.waiting[station][most:]
        return taken

    def day(self, day: int, cored: int, room: int) -> None:
        self.minute = day * DAY
        for _ in range(cored):
            self.core()
        out = self.waiting["in oven"]
        if out:
            self.act("empty the oven", "carl", lambda s, a: empty_oven(s, f"L-{day - 1}", a))
            self.waiting["dry"] += out
            self.waiting["in oven"] = []
        for one in self.take("dry", room):
            self.dry(one[0])
            self.waiting["mill"].append(one)
        for one in self.take("desk", room):
            self.desk(one[0])
            self.waiting["oven"].append(one)
        sacks = self.take("oven", room)
        if sacks:
            self.act(
                "load the oven",
                "carl",
                lambda s, a: load_oven(
                    s,
                    f"L-{day}",
                    [s.get_one(Sample, one) for one, _ in sacks],
                    a,
                    oven="Oven 1",
                    set_celsius="55",
                ),
            )
            self.waiting["in oven"] = sacks
        for one in self.take("mill", room):
            self.mill(one[0])
            self.waiting["scan"].append(one)
        scanned = self.take("scan", room)
        if scanned:
            self.minute += 5
            self.scan([code for _, code in scanned], day)
            self.waiting["answer"] += scanned
        for one in self.take("answer", room):
            self.answer(one[0])
        for name, queue in self.waiting.items():
            self.longest[name] = max(self.longest.get(name, (0, 0)), (len(queue), day))


def play(address: str, lots: int, seed: int = 1) -> Season:
    """A whole season; the days go on until the last sample has its answer."""
    build_season(address)
    season = Database(address, clock=lambda: at(0))
    with season.act("map", "ana", {}) as session:
        add_map(session, NIR, MAP)
    programme = Programme(season, random.Random(seed))
    room = max(2, math.ceil(ROOM * lots / DAYS))
    begun, day = time.perf_counter(), 0
    while day < DAYS or any(programme.waiting.values()):
        programme.day(day, arriving(lots, day) if day < DAYS else 0, room)
        day += 1
    told = Season(lots, seconds=round(time.perf_counter() - begun, 1), queues=programme.longest)
    _sum_up(season, programme, told)
    season.close()
    return told


def _sum_up(season: Database, programme: Programme, told: Season) -> None:
    with season.read() as session:
        told.events = session.scalar(text("select count(*) from event")) or 0
        told.reported = session.scalar(text("select count(*) from standing where state = 'reported'")) or 0
    longest = max(programme.took.items(), key=lambda named: max(named[1]))
    told.slowest = (longest[0], round(max(longest[1]), 3))
    for name, took in programme.took.items():
        told.middle_ms[name] = round(1000 * median(took), 2)
        tenth = len(took) // 10
        if tenth >= 5 and name != "import a day":
            told.growth[name] = round(median(took[-tenth:]) / median(took[:tenth]), 2)
    assert season.file is not None
    size = sum(one.stat().st_size for one in season.file.parent.glob(f"{season.file.name}*"))
    told.bytes_a_lot, told.bytes_an_event = size // told.lots, size // told.events


def curve(sizes: tuple[int, ...]) -> dict[str, dict[int, float]]:
    """Milliseconds of a lookup, a page, a search, an append and an import's row, by samples in the season."""
    found: dict[str, dict[int, float]] = defaultdict(dict)
    for size in sizes:
        with season_with(size, make_bag) as (season, codes):
            for name, took in _asked(season, codes, size).items():
                found[name][size] = round(1000 * took, 3)
    return dict(found)


def _asked(season: Database, codes: list[str], size: int) -> dict[str, float]:
    rng = random.Random(size)
    some = rng.sample(codes, min(len(codes), 200))

    def timed(step: Callable[[str], object], texts: list[str]) -> float:
        took = []
        for one in texts:
            begun = time.process_time()
            step(one)
            took.append(time.process_time() - begun)
        return median(took)

    def lookup(code: str) -> None:
        with season.read() as session:
            tag_owner(session, code)

    def looked_for(word: str) -> None:
        with season.read() as session:
            search(session, word)

    def append(code: str) -> None:
        for step, reason in ((hold, "looked at"), (lift_hold, "fine")):
            with season.act("hold", "lena", {}) as session:
                step(session, sample_named(session, code), act(session, "lena", 100), reason=reason)

    def page(after: str) -> None:
        with season.read() as session:
            lots_page(session, (int(after),))

    found = {
        "lookup by code": timed(lookup, some),
        "first page of the lots": timed(page, ["0"] * 30),
        "last page of the lots": timed(page, [str(max(size - USUAL, 0))] * 30),
        "search by name": timed(looked_for, [f"meadow{rng.randrange(100, 1000)}" for _ in range(30)]),
        "append to the log": timed(append, some[:30]) / 2,
    }
    with season.act("map", "ana", {}) as session:
        add_map(session, NIR, MAP)
    rows = rng.sample(codes, min(len(codes), GROUND))
    for number, code in enumerate(rows):
        with season.act("grind", "carl", {}) as session:
            bring_to_the_mill(session, sample_named(session, code), number)
    begun = time.process_time()
    with season.act("import", "ana", {}) as session:
        taken = record_results(session, NIR, "run.csv", file_of(rows), act(session, "ana", 6000))
    found["import of a row"] = (time.process_time() - begun) / len(rows)
    assert taken.taken == len(rows), taken
    return found


def bring_to_the_mill(session: Session, sample: Sample, number: int) -> None:
    """A bag in the field becomes a ground sample, by every step between."""
    relinquish(session, sample, party(session, "carl"), act(session, "tove", 200))
    receive(session, sample, act(session, "carl", 240), condition=("dry",))
    weigh(session, sample, "tare", "18.6", act(session, "carl", 250))
    weigh(session, sample, "fresh", "268.6", act(session, "carl", 251))
    load = f"C-{number}"
    load_oven(session, load, [sample], act(session, "carl", 260), oven="Oven 1", set_celsius="55")
    empty_oven(session, load, act(session, "carl", 1220))
    weigh(session, sample, "dry", "251.1", act(session, "carl", 1240))
    grind(session, sample, "coarse", act(session, "ana", 1260), mill="M1")
    grind(session, sample, "fine", act(session, "ana", 1270), mill="M1")


def figures(quick: bool) -> list[Figure]:
    """The simulated season and the curve as figures."""
    with tempfile.TemporaryDirectory(prefix="hay-season-") as folder:
        told = play(f"sqlite:///{Path(folder) / 'season.db'}", 6 if quick else 1000)
    sizes = (20, 40) if quick else (1_000, 10_000, 100_000, 1_000_000)
    found = [
        Figure(
            "season",
            f"lots that have their answer of {told.lots:,}",
            100 * told.reported / told.lots,
            "%",
            100,
            most=False,
        ),
        Figure("season", "events of a lot", told.events / told.lots, "events"),
        Figure("season", "database for a lot", told.bytes_a_lot / 1000, "kB"),
        Figure("season", f"the slowest act: {told.slowest[0]}", 1000 * told.slowest[1], "ms"),
    ]
    found += [
        Figure("season", f"longest queue: {name}, day {day}", most, "samples")
        for name, (most, day) in told.queues.items()
    ]
    if told.growth:
        worst = max(told.growth, key=lambda name: told.growth[name])
        found.append(
            Figure("season", f"last tenth / first tenth, at the worst: {worst}", told.growth[worst], "x", 1.5)
        )
    for name, by_size in curve(sizes).items():
        least, most = by_size[sizes[0]], by_size[sizes[-1]]
        found += [Figure("curve", f"{name}, {size:,} samples", by_size[size], "ms") for size in sizes]
        found.append(Figure("curve", f"{name}, {sizes[-1]:,} / {sizes[0]:,} samples", most / least, "x", 2))
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--lots", type=int, default=1000)
    asked.add_argument("--curve", type=int, nargs="*", default=[])
    told = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="hay-season-") as folder:
        if told.lots:
            print(json.dumps(asdict(play(f"sqlite:///{Path(folder) / 'season.db'}", told.lots)), indent=1))
    if told.curve:
        print(json.dumps(curve(tuple(told.curve)), indent=1))


if __name__ == "__main__":
    main()
