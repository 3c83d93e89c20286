"""A late page costs what the first does, counted in the steps of the database itself, which SQLite alone tells."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from sqlalchemy.orm import Session

from tests.bench.grow import grow
from tests.databases import Databases
from tests.makers import act, at, make_ground
from tracker.lookups.bench_queue import how_many_wait, waiting, waiting_page
from tracker.lookups.entries import entries_page
from tracker.lookups.lots import lots_page, producers_page
from tracker.lookups.mill_queue import mill_queue
from tracker.lookups.oven_bench import waiting_for_oven
from tracker.lookups.producers import producer_lines
from tracker.lookups.runs import to_scan
from tracker.lookups.samples import samples_page
from tracker.lookups.tag_rolls import latest_rolls, rolls_page
from tracker.steps.end_sample import dispose
from tracker.storage.coring import Sample
from tracker.storage.engine import Database

ONLY_ON = ("sqlite",)
COPIES = 600


@contextmanager
def counted(session: Session) -> Iterator[list[int]]:
    """The steps of SQLite's own machine, by tens: what a question costs on any computer."""
    connection = session.connection().connection.driver_connection
    assert connection is not None
    steps = [0]

    def step() -> None:
        steps[0] += 1

    connection.set_progress_handler(step, 10)
    yield steps
    connection.set_progress_handler(None, 0)


def test_the_last_page_of_a_large_season_costs_what_the_first_does(season: Database) -> None:
    grow(season, make_ground, COPIES)
    for page in (lots_page, samples_page, entries_page, producers_page, waiting_page, rolls_page):
        with season.read() as session:
            everything = page(session, limit=100_000).items
            near_the_end = page(session, limit=len(everything) - 51).next or ()
            with counted(session) as first:
                page(session)
            with counted(session) as last:
                assert len(page(session, near_the_end).items) == 50
        assert len(everything) >= COPIES and first[0] > 5
        assert last[0] < 2 * first[0], f"{page.__name__}: {first[0]}, then {last[0]}"


def over(session: Session) -> Sample:
    """A sample whose way ended at the mill."""
    sample = make_ground(session)
    dispose(session, sample, act(session, "lena", 1300), method="fed to the goats")
    return sample


def test_what_waits_is_found_without_looking_at_all_that_is_done(
    databases: Databases, season_begun: str, tmp_path: Path
) -> None:
    cost: dict[str, list[int]] = {}
    for copies in (60, COPIES):
        season = Database(databases.copy(season_begun, tmp_path), clock=lambda: at(0))
        grow(season, over, copies)
        for name, question in (
            ("waiting", partial(waiting, most=100)),
            ("how many wait", how_many_wait),
            ("to scan", to_scan),
            ("mill", mill_queue),
            ("to go in the oven", waiting_for_oven),
            ("rolls", latest_rolls),
            ("producers", partial(producer_lines, limit=10)),
        ):
            with season.read() as session:
                question(session)
                with counted(session) as steps:
                    question(session)
            cost.setdefault(name, []).append(steps[0])
        season.close()
    grew = {name: steps for name, steps in cost.items() if steps[1] > 2 * steps[0] + 50}
    assert not grew and cost["producers"][1] > 5, cost
