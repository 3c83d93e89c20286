"""A database of its own for each test: a copy of one that the migrations built once."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tracker.storage.engine import Database

NOON = datetime(2026, 6, 15, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated and empty database, never opened by a test."""
    path = tmp_path_factory.mktemp("template") / "season.db"
    database = Database(f"sqlite:///{path}")
    database.migrate()
    database.close()
    return path


@pytest.fixture
def path(template: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(template, tmp_path / "season.db"))


@pytest.fixture
def database(path: Path) -> Iterator[Database]:
    database = Database(f"sqlite:///{path}", clock=lambda: NOON)
    yield database
    database.close()
