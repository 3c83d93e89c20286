"""A season of a programme in little time: every lot goes its way by the real steps, day by day, as fast as it can.

    python -m tests.bench.season --lots 1000 [--at FOLDER] [--minutes 40]
    python -m tests.bench.season --at SMALL --against LARGE
    python -m tests.bench.season --grown 100 100000

Lots come as cuttings do, in three waves; the bench takes so many a day, and what it does not take waits. What is
told: how long each queue became, which act took longest, how much the database grew with each lot, and whether acts
took longer at the end than at the beginning. A season in a FOLDER goes on where it stood, however it was ended:
what waits at which station is asked of the season itself.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from pathlib import Path
from statistics import median
from typing import Any, TypeVar

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tests.bench.acts_bench import season_with
from tests.bench.figures import Figure
from tests.bench.imports import MAP, file_of
from tests.conftest import build_season
from tests.makers import BASE, LOT, SEAL, START, act, at, make_plan
from tests.result_files import NIR, SETTINGS, add_map, make_answered
from tracker.files.key_file import KeyFile
from tracker.lookups.lot_report import report_body
from tracker.lookups.oven_bench import open_loads
from tracker.steps.add_people import add_producer
from tracker.steps.bag_cores import bag_cores, seal_bag
from tracker.steps.close_load import close_load
from tracker.steps.core_lot import core_lot
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.hand_over import relinquish
from tracker.steps.print_tags import print_tags
from tracker.steps.receive import receive
from tracker.steps.record_results import record_results
from tracker.steps.register_lot import NewLot, register_lot
from tracker.steps.release_results import release_results
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.engine import Database
from tracker.storage.intake import OvenLoad, Weighing
from tracker.storage.lots import Lot
from tracker.storage.people import Producer, party
from tracker.storage.tags import Tag

DAYS = 130
DAY = 24 * 60
# When the three cuttings come in, as a share of the season, and how broad each wave is.
WAVES = ((0.15, 0.05), (0.45, 0.06), (0.75, 0.06))
# What the bench takes a day, over the mean of the season.
ROOM = 1.4
LOTS_OF_A_PRODUCER = 8
MOST_GROWTH = 1.5
# Where a sample waits that stands so; and the event by which a station is done with it.
STATIONS = {
    "in transfer": "desk",
    "received": "desk",
    "weighed": "oven",
    "in oven": "in oven",
    "out of oven": "dry",
    "dried": "mill",
    "coarse ground": "mill",
    "ground": "scan",
    "scanned": "answer",
}
DONE = {
    "desk": "fresh weighed",
    "oven": "oven in",
    "dry": "dry weighed",
    "mill": "fine ground",
    "scan": "scanned",
    "answer": "reported",
}
IN_FIELD = ("planned", "cored", "bagged", "sealed")
# Acts that are of many samples, and not of one on its way.
OF_MANY = ("load the oven", "empty the oven", "close the load", "import a day", "add producer")
Result = TypeVar("Result")
Waits = tuple[int, str]


@dataclass
class Season:
    """What a simulated season told. queues: the longest each became, and on which day; slowest: seconds.

    middle_ms: of the processor, by act; way_ms: the same of all acts of one sample, by the samples that were there.
    """

    lots: int
    cored: int = 0
    events: int = 0
    reported: int = 0
    seconds: float = 0.0
    queues: dict[str, tuple[int, int]] = field(default_factory=dict)
    slowest: tuple[str, float] = ("", 0.0)
    middle_ms: dict[str, float] = field(default_factory=dict)
    growth: dict[str, float] = field(default_factory=dict)
    way_ms: dict[int, float] = field(default_factory=dict)
    bytes_a_lot: int = 0
    bytes_an_event: int = 0


class Enough(Exception):
    """The time is over; the season goes on another day."""


def arriving(lots: int, day: int) -> int:
    """How many lots are cored on this day."""
    # Everything is rounded at the end of a day, so that no lot is lost between two.
    return _arrived(lots, day) - (0 if day == 0 else _arrived(lots, day - 1))


def _arrived(lots: int, day: int) -> int:
    if day >= DAYS - 1:
        return lots
    end = (day + 1) / DAYS
    shares = [0.5 * (1 + math.erf((end - middle) / (width * math.sqrt(2)))) for middle, width in WAVES]
    return round(lots * sum(shares) / len(shares))


class Programme:
    """The season as it goes on: what waits at each station, and how long each act took."""

    def __init__(self, season: Database, lots: int, seed: int, over: Callable[[], bool]) -> None:
        self.season = season
        self.lots = lots
        self.over = over
        # Processor seconds and seconds of the clock, of each act of the day.
        self.took: dict[str, list[tuple[float, float]]] = defaultdict(list)
        self.room = max(2, math.ceil(ROOM * lots / DAYS))
        with season.read() as session:
            self._find(session)
        self.rng = random.Random(f"{seed} {self.minute}")

    def _find(self, session: Session) -> None:
        """Where everything stands, and what of today is done already."""
        last = session.scalar(select(func.max(EventRow.recorded_at)))
        self.minute = 0.0 if last is None else (last - START) / timedelta(minutes=1)
        self.today = int(self.minute // DAY)
        self.cored = session.scalar(select(func.count()).select_from(Lot)) or 0
        self.waiting: dict[str, list[Waits]] = {name: [] for name in dict.fromkeys(STATIONS.values())}
        wanted = select(StandingRow).where(StandingRow.state.in_(STATIONS)).order_by(StandingRow.last_at)
        for row in session.scalars(wanted):
            self.waiting[STATIONS[row.state]].append((row.sample_id, str(row.code)))
        since = at(self.today * DAY)
        counted = select(EventRow.kind, func.count()).where(EventRow.recorded_at >= since)
        self.done = Counter(dict(session.execute(counted.group_by(EventRow.kind)).all()))
        # A lot that was begun has its sample's way to go, or not even a sample.
        self.begun = list(
            session.execute(
                select(Lot.id, StandingRow.sample_id, StandingRow.state, Tag.code)
                .outerjoin(Tag, Tag.lot_id == Lot.id)
                .outerjoin(Sample, Sample.lot_id == Lot.id)
                .outerjoin(StandingRow, StandingRow.sample_id == Sample.id)
                .where(StandingRow.state.in_(IN_FIELD) | StandingRow.state.is_(None))
            ).all()
        )

    def act(self, name: str, who: str, step: Callable[[Any, Any], Result]) -> Result:
        """One act, confirmed on the disk, a few seconds after the one before. Raises Enough."""
        if self.over():
            raise Enough
        self.minute += 0.05
        begun = time.process_time(), time.perf_counter()
        with self.season.act(name, who, {}) as session:
            result = step(session, act(session, who, self.minute))
        self.took[name].append((time.process_time() - begun[0], time.perf_counter() - begun[1]))
        return result

    def on(self, name: str, who: str, sample: int, step: Callable[[Any, Sample, Any], object]) -> None:
        self.act(name, who, lambda s, a: step(s, s.get_one(Sample, sample), a))

    def core(self) -> None:
        """The next lot, from its register to the bag that is signed away."""
        number = self.cored + 1
        name = f"Meadow {number // LOTS_OF_A_PRODUCER}"
        with self.season.read() as session:
            known = session.scalar(select(Producer.id).where(Producer.name == name))
        if known is None:
            self.act("add producer", "tove", lambda s, a: add_producer(s, name=name, place="", now=a.now))
        new = NewLot(**{**vars(LOT), "producer": name, "field": f"Field {number}"})
        lot = self.act("register", "tove", lambda s, a: register_lot(s, new, a).id)
        self.cored = number
        self.in_field(lot)

    def in_field(self, lot: int, sample: int | None = None, state: str = "", code: str = "") -> None:
        """What is left of a lot's way to the laboratory."""
        if sample is None:
            sample = self.act("plan", "tove", lambda s, a: make_plan(s, lot, minute=self.minute).id)
        code = code or self.act("print tag", "tove", lambda s, a: _printed(s, lot, a))
        begun = at(self.minute)
        steps: tuple[tuple[str, Callable[[Any, Sample, Any], object]], ...] = (
            ("core", lambda s, sample, a: core_lot(s, sample, a, started_at=begun)),
            ("bag", lambda s, sample, a: bag_cores(s, sample, code, a)),
            ("seal", lambda s, sample, a: seal_bag(s, sample, SEAL, a)),
            ("hand over", lambda s, sample, a: relinquish(s, sample, party(s, "carl"), a)),
        )
        for name, step in steps[IN_FIELD.index(state or "planned") :]:
            self.on(name, "tove", sample, step)
        self.waiting["desk"].append((sample, code))

    def desk(self, sample: int) -> None:
        gram = self.rng.uniform(-2, 2)
        with self.season.read() as session:
            received = session.get_one(StandingRow, sample).state == "received"
            weighed = session.scalar(select(Weighing.id).where(Weighing.sample_id == sample).limit(1))
        how = {"condition": ("dry",), "seal_state": "intact", "seal_read": SEAL}
        if not received:
            self.on("receive", "carl", sample, lambda s, row, a: receive(s, row, a, **how))
        for what, grams in (("tare", 18.6 + gram / 9), ("fresh", 268.6 + gram)):
            if what != "tare" or weighed is None:
                self.weigh(sample, what, grams)

    def weigh(self, sample: int, what: str, grams: float) -> None:
        self.on(f"weigh {what}", "carl", sample, lambda s, row, a: weigh(s, row, what, f"{grams:.1f}", a))

    def mill(self, sample: int) -> None:
        with self.season.read() as session:
            coarse = session.get_one(StandingRow, sample).state == "coarse ground"
        for how in ("coarse", "fine")[coarse:]:
            self.on(
                f"grind {how}", "ana", sample, lambda s, row, a, how=how: grind(s, row, how, a, mill="M1")
            )

    def scan(self, codes: list[str], day: int) -> None:
        content = file_of(codes, seed=day, begun=at(self.minute - 1), apart=0)
        self.act("import a day", "ana", lambda s, a: record_results(s, NIR, f"{day}.csv", content, a))

    def answer(self, sample: int) -> None:
        def release(session: Any, row: Sample, done: Any) -> None:
            body = report_body(session, sample_with_lot(session, sample), SETTINGS)
            release_results(session, row, body, done)

        self.on("release", "lena", sample, release)

    def load(self, day: int, sacks: list[Waits]) -> None:
        def put_in(session: Any, done: Any) -> None:
            rows = [session.get_one(Sample, one) for one, _ in sacks]
            load_oven(session, f"L-{day}", rows, done, oven="Oven 1", set_celsius="55")

        self.act("load the oven", "carl", put_in)
        self.waiting["in oven"] += sacks

    def empty(self, day: int) -> None:
        """Take out what went in before today."""
        with self.season.read() as session:
            inside = session.scalar(select(OvenLoad.name).where(OvenLoad.out_at.is_(None)))
        if inside is not None and inside != f"L-{day}":
            self.act("empty the oven", "carl", lambda s, a: empty_oven(s, inside, a))
            self.waiting["dry"] += self.waiting["in oven"]
            self.waiting["in oven"] = []

    def close(self) -> None:
        """Close the loads that came out and of whose every sack something is said."""
        with self.season.read() as session:
            done = [one.load.name for one in open_loads(session) if one.load.out_at and not one.unsettled]
        for name in done:
            self.act("close the load", "carl", lambda s, a, name=name: close_load(s, name, a))

    def take(self, station: str) -> Iterator[Waits]:
        """What the station takes today, one after the other; the rest waits."""
        for _ in range(min(self.room - self.done[DONE[station]], len(self.waiting[station]))):
            yield self.waiting[station].pop(0)

    def day(self) -> None:
        """What is left of today."""
        day = self.today
        self.minute = max(self.minute, day * DAY)
        for row in self.begun:
            self.in_field(*row)
        self.begun = []
        while self.cored < _arrived(self.lots, day):
            self.core()
        self.empty(day)
        for one in self.take("dry"):
            self.weigh(one[0], "dry", 251.1 + self.rng.uniform(-1, 1))
            self.waiting["mill"].append(one)
        self.close()
        for one in self.take("desk"):
            self.desk(one[0])
            self.waiting["oven"].append(one)
        if sacks := list(self.take("oven")):
            self.load(day, sacks)
        for one in self.take("mill"):
            self.mill(one[0])
            self.waiting["scan"].append(one)
        if scanned := list(self.take("scan")):
            self.minute += 5
            self.scan([code for _, code in scanned], day)
            self.waiting["answer"] += scanned
        for one in self.take("answer"):
            self.answer(one[0])
        self.today, self.done = day + 1, Counter()

    @property
    def ended(self) -> bool:
        return self.today >= DAYS and not any(self.waiting.values())


def _printed(session: Any, lot: int, done: Any) -> str:
    _, printed = print_tags(session, [lot], done, base_url=BASE, layout={"stock": "roll"})
    return printed[0].tag.code


def play(folder: Path, lots: int, seed: int = 1, over: Callable[[], bool] = lambda: False) -> Season:
    """A whole season in this folder, or what is left of one; the days go on until the last sample has its answer.

    over: asked before every act, whether it is enough for now. Raises ValueError where the season in the folder is
    of another number of lots.
    """
    diary = Diary(folder, lots)
    with _opened(folder) as season:
        programme = Programme(season, lots, seed, over)
        try:
            while not programme.ended:
                with diary.day(programme):
                    programme.day()
        except Enough:
            pass
        told = Season(lots, cored=programme.cored)
        with season.read() as session:
            told.events = session.scalar(select(func.count()).select_from(EventRow)) or 0
            reported = select(func.count()).select_from(StandingRow).where(StandingRow.state == "reported")
            told.reported = session.scalar(reported) or 0
        size = sum(one.stat().st_size for one in folder.glob("season.db*"))
    told.bytes_a_lot, told.bytes_an_event = size // max(1, told.cored), size // max(1, told.events)
    diary.sum_up(told)
    return told


@contextmanager
def _opened(folder: Path) -> Iterator[Database]:
    """The season in the folder, with its people, its column map and a key for its log; made where there is none."""
    file, key = folder / "season.db", KeyFile(folder / "season.key")
    if not file.exists():
        build_season(f"sqlite:///{file}")
        key.make("hay.example")
    season = Database(f"sqlite:///{file}", clock=lambda: at(0), key_file=key)
    _map(season)
    yield season
    season.close()


def _map(season: Database) -> None:
    with season.act("map", "ana", {}) as session:
        add_map(session, NIR, MAP)


class Diary:
    """What each day told, a line of JSON each, kept beside the season: a season may be played in several goes."""

    def __init__(self, folder: Path, lots: int) -> None:
        self.path = folder / "days.jsonl"
        if not self.path.exists():
            self.path.write_text(json.dumps({"lots": lots}) + "\n", encoding="utf-8")
        first = self.lines()[0]
        if first != {"lots": lots}:
            raise ValueError(f"{folder} has a season of {first['lots']} lots, not of {lots}")

    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.path.read_text(encoding="utf-8").splitlines()]

    @contextmanager
    def day(self, programme: Programme) -> Iterator[None]:
        """Write the day down at its end, or at the end of the time."""
        day, begun = programme.today, time.perf_counter()
        programme.took.clear()
        try:
            yield
        finally:
            acts = {
                name: (len(took), 1000 * median(cpu for cpu, _ in took), max(clock for _, clock in took))
                for name, took in programme.took.items()
            }
            queues = {name: len(queue) for name, queue in programme.waiting.items()}
            line = {"day": day, "cored": programme.cored, "acts": acts, "queues": queues}
            line["seconds"] = time.perf_counter() - begun
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")

    def sum_up(self, told: Season) -> None:
        """Queues, times and their growth, of all days and goes."""
        days = self.lines()[1:]
        told.seconds = round(sum(line["seconds"] for line in days), 1)
        for line in days:
            for name, long in line["queues"].items():
                told.queues[name] = max(told.queues.get(name, (0, 0)), (long, line["day"]))
            for name, (_, _, longest) in line["acts"].items():
                told.slowest = max(told.slowest, (name, round(longest, 3)), key=lambda one: one[1])
        names = sorted({name for line in days for name in line["acts"]})
        for name in names:
            told.middle_ms[name] = round(_middle(_of_act(days, name)), 2)
            first, last = _tenths(_of_act(days, name))
            if len(first) > 1 and name not in OF_MANY:
                told.growth[name] = round(_middle(last) / _middle(first), 2)
        told.way_ms = _way(days, [name for name in names if name not in OF_MANY])


# Of an act on the days that had it: how often, and the middle of its milliseconds.
Middles = list[tuple[int, float]]


def _of_act(days: list[dict[str, Any]], name: str) -> Middles:
    return [(line["acts"][name][0], line["acts"][name][1]) for line in days if name in line["acts"]]


def _middle(middles: Middles) -> float:
    """The middle of the days' middles, each counting as often as the act was done."""
    half, counted = sum(times for times, _ in middles) / 2, 0
    for times, took in sorted(middles, key=lambda one: one[1]):
        counted += times
        if counted >= half:
            return took
    return 0.0


def _tenths(middles: Middles) -> tuple[Middles, Middles]:
    """The days of the first tenth and of the last tenth of all these acts."""

    def begin(days: Middles) -> Middles:
        found: Middles = []
        while sum(times for times, _ in found) < sum(times for times, _ in middles) / 10:
            found.append(days[len(found)])
        return found

    return begin(middles), begin(middles[::-1])


def _way(days: list[dict[str, Any]], names: list[str]) -> dict[int, float]:
    """The milliseconds of one sample's acts, by how many lots the season had, in about eight parts of it."""
    found = {}
    for part in range(8):
        some = [line for line in days if int(8 * (line["cored"] - 1) / max(1, days[-1]["cored"])) == part]
        middles = [_middle(_of_act(some, name)) for name in names]
        if some and all(middles):
            found[int(median(line["cored"] for line in some))] = round(sum(middles), 1)
    return found


def growth(small: Path, large: Path, rounds: int = 20) -> dict[str, float]:
    """How much longer each act of a lot's way takes in the large season than in the small one, both in turns.

    Both seasons have so many lots more afterwards.
    """
    with ExitStack() as opened:
        return _growth([opened.enter_context(_opened(one)) for one in (small, large)], rounds)


def grown(few: int, many: int, rounds: int = 20) -> dict[str, float]:
    """The same in two seasons that are made of copies of one answered lot (grow.py)."""
    with ExitStack() as opened:
        seasons = [opened.enter_context(season_with(size, make_answered))[0] for size in (few, many)]
        for season in seasons:
            _map(season)
        return _growth(seasons, rounds)


def _growth(seasons: Sequence[Database], rounds: int) -> dict[str, float]:
    programmes = [Programme(one, 0, 1, lambda: False) for one in seasons]
    for number in range(rounds + 1):
        for programme in programmes:
            _one_way(programme, number)
        if number == 0:
            # The first of each compiles its statements.
            for programme in programmes:
                programme.took.clear()
    less, more = (
        {name: median(cpu for cpu, _ in acts) for name, acts in one.took.items() if len(acts) >= rounds}
        for one in programmes
    )
    found = {name: round(more[name] / less[name], 2) for name in less}
    return {**found, "the whole way": round(sum(more.values()) / sum(less.values()), 2)}


def _one_way(programme: Programme, number: int) -> None:
    """One lot from its register to its answer."""
    programme.core()
    one = programme.waiting["desk"].pop()
    programme.desk(one[0])
    day = programme.today + 1_000 + number
    programme.load(day, [one])
    programme.minute += 16 * 60
    programme.empty(day + 1)
    programme.weigh(one[0], "dry", 251.1)
    programme.mill(one[0])
    programme.minute += 5
    programme.scan([one[1]], day)
    programme.answer(one[0])


def figures(quick: bool) -> list[Figure]:
    """A whole season as figures."""
    with tempfile.TemporaryDirectory(prefix="hay-season-") as folder:
        told = play(Path(folder), 2 if quick else 1000)
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
        what = f"last tenth / first tenth, at the worst: {worst}"
        found.append(Figure("season", what, told.growth[worst], "x", MOST_GROWTH))
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--lots", type=int, default=1000)
    asked.add_argument("--at", type=Path, help="a folder for the season, which goes on where it stood")
    asked.add_argument("--minutes", type=float, default=math.inf, help="how long to play at most")
    asked.add_argument("--against", type=Path, help="a larger season: how much longer its acts take")
    asked.add_argument(
        "--grown", type=int, nargs=2, metavar=("FEW", "MANY"), help="the same in copied seasons"
    )
    told = asked.parse_args()
    if told.grown:
        print(json.dumps(grown(*told.grown), indent=1))
        return
    if told.against:
        print(json.dumps(growth(told.at, told.against), indent=1))
        return
    end = time.monotonic() + 60 * told.minutes
    with tempfile.TemporaryDirectory(prefix="hay-season-") as made:
        folder = told.at or Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        found = play(folder, told.lots, over=lambda: time.monotonic() > end)
    print(json.dumps(asdict(found), indent=1))


if __name__ == "__main__":
    main()
