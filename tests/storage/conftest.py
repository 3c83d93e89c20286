"""A database of its own for each test: a copy of one that the migrations built once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg
import pytest

from tests.databases import Databases
from tracker.storage.engine import Database

NOON = datetime(2026, 6, 15, 12, 0, tzinfo=UTC)


def migrated(address: str) -> None:
    with closing(Database(address)) as database:
        database.migrate()


@pytest.fixture(scope="session")
def template(databases: Databases) -> str:
    """A migrated and empty database, never opened by a test."""
    return databases.template("tables", migrated)


@pytest.fixture
def database(databases: Databases, template: str, tmp_path: Path) -> Iterator[Database]:
    address = databases.copy(template, tmp_path)
    database = Database(address, clock=lambda: NOON)
    yield database
    database.close()
    databases.drop(address)


class Raw:
    """A connection that knows nothing of this program: no settings of ours, on SQLite no references checked."""

    def __init__(self, database: Database) -> None:
        self.file = database.file
        if self.file is not None:
            self.on: Any = sqlite3.connect(self.file, timeout=0, isolation_level=None)
        else:
            url = database.engine.url
            host, name = str(url.query["host"]), url.database
            self.on = psycopg.connect(host=host, dbname=name, user=url.username, autocommit=True)

    def __call__(self, statement: str, *values: object) -> list[tuple[Any, ...]]:
        """Whatever SQL, with a ? for each value; the rows it gives."""
        if self.file is None:
            statement = statement.replace("?", "%s")
        found = (
            self.on.execute(statement, values or None)
            if self.file is None
            else self.on.execute(statement, values)
        )
        return list(found.fetchall()) if found.description else []

    def plant(self, statement: str, *values: object) -> None:
        """The same without looking whether the references lead anywhere."""
        if self.file is None:
            self("set session_replication_role = replica")
        self(statement, *values)
        if self.file is None:
            self("set session_replication_role = origin")


@pytest.fixture
def raw(database: Database) -> Iterator[Raw]:
    made = Raw(database)
    yield made
    made.on.close()
