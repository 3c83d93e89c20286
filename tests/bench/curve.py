"""What questions and acts cost as a season grows, from a thousand samples to a million.

    python -m tests.bench.curve --sizes 1000 10000 100000 1000000 [--picture docs/pictures/curve.svg] [--postgresql]

Samples are copies of one that went its way by the real steps (grow.py). Each figure is the middle of many, in
milliseconds of this program's own processor time; what the disk takes stands beside it in the other benchmarks.
With PostgreSQL, whose server does the work, it is milliseconds of the clock.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from statistics import median

from sqlalchemy.orm import Session

from tests.bench.acts_bench import season_with
from tests.bench.figures import Figure
from tests.bench.grow import FIRST_NAME, grow
from tests.bench.imports import MAP, file_of
from tests.conftest import build_season
from tests.databases import begin_cluster
from tests.makers import act, at, make_bag
from tests.result_files import NIR, add_map
from tracker.lookups.find import sample_named
from tracker.lookups.lots import lots_page
from tracker.lookups.page import USUAL
from tracker.lookups.search import search
from tracker.lookups.tag_owner import tag_owner
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.grind import grind
from tracker.steps.hand_over import relinquish
from tracker.steps.hold import hold, lift_hold
from tracker.steps.receive import receive
from tracker.steps.record_results import record_results
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.people import party

SIZES = (1_000, 10_000, 100_000, 1_000_000)
# Samples that are brought to the mill by the real steps, for the import.
GROUND = 150
# A thousand times the samples may take twice the time: a tree of an index grows by two levels meanwhile.
MOST_GROWTH = 2
Curve = dict[str, dict[int, float]]
Clock = Callable[[], float]


def curve(sizes: Iterable[int], postgresql: bool = False) -> Curve:
    """Milliseconds of each question and act, by samples in the season."""
    found: Curve = {}
    clock = time.perf_counter if postgresql else time.process_time
    for size in sizes:
        with on_postgresql(size) if postgresql else season_with(size, make_bag) as (season, codes):
            for name, took in measured(season, codes, clock).items():
                found.setdefault(name, {})[size] = round(1000 * took, 3)
                # A million takes a while, and what is known by then should not be lost with it.
                print(f"{size:>9,}  {name}: {1000 * took:.3g} ms", file=sys.stderr, flush=True)
    return found


@contextmanager
def on_postgresql(samples: int) -> Iterator[tuple[Database, list[str]]]:
    """As season_with, on a server of its own."""
    cluster = begin_cluster()
    try:
        season = Database(cluster.template("curve", build_season), clock=lambda: at(0))
        codes = grow(season, make_bag, samples - 1)
        with season.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            # As the server does by itself while a season grows.
            connection.exec_driver_sql("vacuum analyze")
        yield season, codes
        season.close()
    finally:
        cluster.end()


def measured(season: Database, codes: list[str], clock: Clock = time.process_time) -> dict[str, float]:
    """Seconds of a lookup, searches, an entry of the log and a row of an import, in a season with these tags."""
    rng = random.Random(len(codes))
    some = rng.sample(codes, min(len(codes), 200))

    def owner(code: str) -> None:
        with season.read() as session:
            assert tag_owner(session, code) is not None

    def page(after: str) -> None:
        with season.read() as session:
            lots_page(session, (int(after),))

    def sought(words: str) -> None:
        with season.read() as session:
            assert not search(session, words).nothing, words

    def entry(code: str) -> None:
        for step, reason in ((hold, "looked at"), (lift_hold, "fine")):
            with season.act("hold", "lena", {}) as session:
                step(session, sample_named(session, code), act(session, "lena", 100), reason=reason)

    middle = partial(_middle, clock)
    # Ten producers have a rare name; every field is a long one (grow.py).
    rare = [f"meadow{FIRST_NAME + rng.randrange(len(codes) // 10)}" for _ in range(30)]
    return {
        "a tag's owner": middle(owner, some),
        "the first page of the lots": middle(page, ["0"] * 30),
        "the last page of the lots": middle(page, [str(max(len(codes) - USUAL, 0))] * 30),
        "search: a name that ten have": middle(sought, rare),
        "search: a name that all have": middle(sought, ["long"] * 10),
        "search: both": middle(sought, [f"long {name}" for name in rare]),
        "search: half a code": middle(sought, [code[4:] for code in some[:30]]),
        "two entries of the log": middle(entry, some[:30]),
        "a row of an import": _row(clock, season, rng.sample(codes, min(len(codes) // 4, GROUND))),
    }


def _middle(clock: Clock, step: Callable[[str], object], texts: list[str]) -> float:
    step(texts[0])
    took = []
    for one in texts:
        begun = clock()
        step(one)
        took.append(clock() - begun)
    return median(took)


def _row(clock: Clock, season: Database, codes: list[str]) -> float:
    with season.act("map", "ana", {}) as session:
        add_map(session, NIR, MAP)
    for number, code in enumerate(codes):
        with season.act("grind", "carl", {}) as session:
            bring_to_the_mill(session, sample_named(session, code), number)
    begun = clock()
    with season.act("import", "ana", {}) as session:
        taken = record_results(session, NIR, "run.csv", file_of(codes), act(session, "ana", 6000))
    took = (clock() - begun) / len(codes)
    assert taken.taken == len(codes), taken
    return took


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


def figures(found: Curve) -> list[Figure]:
    """Every point of the curves, and how much each has grown."""
    told = []
    for name, by_size in found.items():
        told += [Figure("curve", f"{name}, {size:,} samples", took, "ms") for size, took in by_size.items()]
        least, most = min(by_size), max(by_size)
        growth = by_size[most] / by_size[least]
        told.append(Figure("curve", f"{name}, {most:,} / {least:,} samples", growth, "x", MOST_GROWTH))
    return told


def picture(found: Mapping[str, Mapping[int, float]]) -> str:
    """The curves as SVG, both axes in powers of ten."""
    sizes = sorted({size for by_size in found.values() for size in by_size})
    times = [took for by_size in found.values() for took in by_size.values()]
    low, high = math.floor(math.log10(min(times))), math.ceil(math.log10(max(times)))

    def x(size: float) -> float:
        return 60 + 330 * (math.log10(size) - math.log10(sizes[0])) / math.log10(sizes[-1] / sizes[0])

    def y(took: float) -> float:
        return 260 - 230 * (math.log10(took) - low) / (high - low)

    lines = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 310" font-family="sans-serif" font-size="12">',
        "<title>Milliseconds of the processor by samples in the season</title>",
        '<rect width="640" height="310" fill="#fff"/>',
    ]
    for power in range(low, high + 1):
        at = f"{y(10.0**power):.0f}"
        lines.append(f'<path d="M60 {at}H390" stroke="#ccc"/>')
        lines.append(f'<text x="54" y="{at}" dy="4" text-anchor="end">{10.0**power:g} ms</text>')
    for size in sizes:
        lines.append(f'<text x="{x(size):.0f}" y="280" text-anchor="middle">{size:,}</text>')
    lines.append('<text x="225" y="300" text-anchor="middle">samples in the season</text>')
    last = {name: max(by_size) for name, by_size in found.items()}
    ends = sorted(found, key=lambda name: -found[name][last[name]])
    label = 0.0
    for name in ends:
        points = " ".join(f"{x(size):.1f},{y(took):.1f}" for size, took in sorted(found[name].items()))
        size, took = last[name], found[name][last[name]]
        end = y(took)
        # Names stand apart from each other, each joined to the end of its own line.
        label = max(end, label + 15)
        lines.append(f'<polyline points="{points}" fill="none" stroke="#1b1a16" stroke-width="1.5"/>')
        lines.append(f'<path d="M{x(size) + 2:.0f} {end:.1f}L412 {label:.1f}" stroke="#999"/>')
        lines.append(f'<text x="416" y="{label:.1f}" dy="4">{name}, {took:.2g}</text>')
    return "\n".join([*lines, "</svg>\n"])


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    asked.add_argument("--picture", type=Path)
    asked.add_argument("--postgresql", action="store_true")
    told = asked.parse_args()
    found = curve(told.sizes, told.postgresql)
    if told.picture:
        told.picture.write_text(picture(found), encoding="utf-8")
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
