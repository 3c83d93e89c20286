"""The migrations build what the rows say, in one line of versions."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, Connection, create_engine, inspect, text

from tests.databases import Databases
from tracker.storage.engine import VERSIONS, Database, newest_version
from tracker.storage.migrations import config
from tracker.storage.schema import APPEND_ONLY, METADATA


@pytest.fixture
def connection(databases: Databases, tmp_path: Path) -> Iterator[Connection]:
    address = databases.empty(tmp_path)
    database = Database(address)
    database.migrate()
    with database.engine.connect() as connection:
        yield connection
    database.close()
    databases.drop(address)


def differences(connection: Connection) -> list[Any]:
    context = MigrationContext.configure(connection, opts={"compare_type": True})
    return list(compare_metadata(context, METADATA))


def checks(connection: Connection) -> set[tuple[str, str | None]]:
    found = inspect(connection)
    return {
        (table, check["name"]) for table in METADATA.tables for check in found.get_check_constraints(table)
    }


def test_the_migrations_build_what_the_rows_say(connection: Connection) -> None:
    assert differences(connection) == []


def test_a_table_the_migrations_forgot_would_show(connection: Connection) -> None:
    connection.execute(text("drop table standing"))
    assert {difference[0] for difference in differences(connection)} >= {"add_table"}


def test_a_column_of_another_type_would_show(connection: Connection) -> None:
    cascade = "" if connection.dialect.name == "sqlite" else " cascade"
    connection.execute(text(f"drop table source{cascade}"))
    connection.execute(text("create table source (id integer primary key, name integer not null unique)"))
    kinds = {
        str(difference[0][0] if isinstance(difference, list) else difference[0])
        for difference in differences(connection)
    }
    assert {"modify_type", "add_column"} <= kinds


def test_the_checks_on_values_are_those_of_the_rows(connection: Connection) -> None:
    # Alembic does not compare check constraints, so they are held against each other here.
    wanted = {
        (table.name, str(check.name))
        for table in METADATA.tables.values()
        for check in table.constraints
        if isinstance(check, CheckConstraint)
    }
    assert wanted
    assert checks(connection) == wanted


def test_the_versions_form_one_line() -> None:
    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        scripts = ScriptDirectory.from_config(config(connection))
    engine.dispose()
    line = [script.revision for script in reversed(list(scripts.walk_revisions()))]
    assert line == [f"{number:04}" for number in range(1, len(line) + 1)]
    assert len(line) == len(list(VERSIONS.glob("[0-9]*.py")))
    assert scripts.get_heads() == [newest_version()]
    assert all(
        script.down_revision is None or isinstance(script.down_revision, str)
        for script in scripts.walk_revisions()
    )


def test_each_versions_file_is_called_as_its_revision() -> None:
    for path in VERSIONS.glob("[0-9]*.py"):
        module = import_module(f"tracker.storage.migrations.versions.{path.stem}")
        assert path.stem.split("_")[0] == module.revision


def test_the_guards_are_put_on_the_tables_that_only_grow() -> None:
    stems = sorted(path.stem for path in VERSIONS.glob("[0-9]*.py"))
    modules = [import_module(f"tracker.storage.migrations.versions.{stem}") for stem in stems]
    assert tuple(table for module in modules for table in getattr(module, "APPEND_ONLY", ())) == APPEND_ONLY
