"""Five reported lots in a season made once, copied for each test."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.makers import at
from tests.web.conftest import made_app
from tests.web.producer.lots import Stub, five_lots
from tracker.storage.engine import Database


@pytest.fixture(scope="session")
def reported(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Stub]]:
    """The season's file and its stubs by name, never opened by a test."""
    path = Path(shutil.copy(season_template, tmp_path_factory.mktemp("producer") / "season.db"))
    database = Database(f"sqlite:///{path}", clock=lambda: at(0))
    stubs = five_lots(database)
    database.close()
    return path, stubs


@pytest.fixture
def stubs(reported: tuple[Path, dict[str, Stub]]) -> dict[str, Stub]:
    return reported[1]


@pytest.fixture
def lots(reported: tuple[Path, dict[str, Stub]], tmp_path: Path) -> Iterator[Database]:
    """The test's own copy; the office's clock stands shortly after the reports."""
    copy = shutil.copy(reported[0], tmp_path / "lots.db")
    database = Database(f"sqlite:///{copy}", clock=lambda: at(1600))
    yield database
    database.close()


@pytest.fixture
def door(lots: Database) -> Flask:
    """The pages, with forms that need no guard."""
    return made_app(lots)


@pytest.fixture
def anyone(door: Flask) -> FlaskClient:
    """Whoever has a stub in hand."""
    return door.test_client()
