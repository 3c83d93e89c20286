"""A late page costs what the first does, counted in the steps of the database itself, which SQLite alone tells."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.orm import Session

from tests.bench.grow import grow
from tests.makers import make_ground
from tracker.lookups.bench_queue import waiting_page
from tracker.lookups.entries import entries_page
from tracker.lookups.lots import lots_page, producers_page
from tracker.lookups.samples import samples_page
from tracker.lookups.tag_rolls import rolls_page
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
