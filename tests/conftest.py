"""A season for each test: a copy of one that the migrations and the steps built once, with its people in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.makers import at, make_people
from tracker.storage.engine import Database

# What takes minutes begins first, so that the other cores have done all the rest when it ends.
LONG = ("test_bench_day.py",)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the long files in front and leave everything else as it was."""
    items.sort(key=lambda item: item.path.name not in LONG)


@pytest.fixture(scope="session")
def season_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated database that knows its people and one producer, and is never opened by a test."""
    path = tmp_path_factory.mktemp("template") / "season.db"
    database = Database(f"sqlite:///{path}")
    database.migrate()
    with database.act("add people", "", {}) as session:
        make_people(session)
    database.close()
    return path


@pytest.fixture
def season(season_template: Path, tmp_path: Path) -> Iterator[Database]:
    """An open season of the test's own; its office clock stands at the start of the makers' day."""
    copy = Path(shutil.copy(season_template, tmp_path / "season.db"))
    database = Database(f"sqlite:///{copy}", clock=lambda: at(0))
    yield database
    database.close()
