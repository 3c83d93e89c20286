"""A figure over a season reads no more rows the larger the season is, nor does a page of the list behind it: counted
in the rows that the database gives and in its own steps, which SQLite alone tells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.bench.grow import grow
from tests.databases import Databases
from tests.lookups.test_page_cost import counted
from tests.makers import at, make_bag
from tests.result_files import make_answered
from tracker.lookups.hay_of_year import GROUPINGS, hay_of_year
from tracker.lookups.lots import answered_page
from tracker.lookups.programme import behind, programme
from tracker.lookups.retention import kept
from tracker.lookups.seasons import seasons
from tracker.storage.coring import Sample
from tracker.storage.engine import Database

ONLY_ON = ("sqlite",)


@dataclass(frozen=True)
class Cost:
    """What a question took: rows the database gave to the program, and steps of its own, by tens."""

    rows: int
    steps: int


def cost_of(session: Session, question: Callable[[Session], object]) -> Cost:
    question(session)
    connection = session.connection().connection.driver_connection
    assert connection is not None
    rows = [0]

    def counting(cursor: Any, row: tuple[Any, ...]) -> tuple[Any, ...]:
        rows[0] += 1
        return row

    session.expire_all()
    connection.row_factory = counting
    with counted(session) as steps:
        question(session)
    connection.row_factory = None
    return Cost(rows[0], steps[0])


NOW = at(60 * 24 * 300).astimezone(UTC)
KEYS = ("station:hand-over", "late", "turnaround", "labels", "sampling:cores", "reweighed", "lost")
OVER_A_SEASON: dict[str, Callable[[Session], object]] = {
    "the programme": lambda session: programme(session, 2026, NOW),
    **{f"behind {key}": lambda session, key=key: behind(session, key, 2026, NOW) for key in KEYS},
    **{f"hay by {by}": lambda session, by=by: hay_of_year(session, 2026, by) for by in GROUPINGS},
    "hay of others": lambda session: answered_page(session, "Someone"),
    "what is kept": lambda session: kept(session, NOW),
    "the seasons": seasons,
}
FEW, MANY = 120, 720
# Steps of SQLite's machine for each more sample. Counting off narrow indexes takes the programme up to 70; to read
# every event, plan and standing of a season, as plainly.py does, 400 to 1,000, and the program's own work with it.
MOST_STEPS = 150


@pytest.fixture(params=[make_bag, make_answered], ids=["under way", "answered"])
def two_seasons(
    request: pytest.FixtureRequest, databases: Databases, season_begun: str, tmp_path: Path
) -> Iterator[list[Database]]:
    make: Callable[[Session], Sample] = request.param
    opened = []
    for size in (FEW, MANY):
        folder = tmp_path / str(size)
        folder.mkdir()
        opened.append(Database(databases.copy(season_begun, folder), clock=lambda: at(0)))
        grow(opened[-1], make, size - 1)
    yield opened
    for one in opened:
        one.close()


def test_a_figure_over_a_season_reads_no_more_rows_the_larger_the_season_is(
    two_seasons: list[Database],
) -> None:
    costs: list[dict[str, Cost]] = []
    for season in two_seasons:
        with season.read() as session:
            costs.append({name: cost_of(session, question) for name, question in OVER_A_SEASON.items()})
    few, many = costs
    for name in OVER_A_SEASON:
        assert many[name].rows <= few[name].rows + 2, (name, few[name], many[name])
        more = 10 * (many[name].steps - few[name].steps) / (MANY - FEW)
        assert more < MOST_STEPS, (name, more)
    # What reads every lot is seen to do so.
    with two_seasons[1].read() as session:
        assert cost_of(session, lambda one: list(one.execute(Sample.__table__.select()))).rows == MANY
