"""A season for each test: a copy of one that the migrations and the steps built once, with its people in it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.databases import KINDS, Cluster, Databases, Files, begin_cluster, in_memory, share_what_is_compiled
from tests.makers import at, make_people
from tracker.storage.engine import Database

share_what_is_compiled()
# Each test's season is a file that is written to the disk at every act, and thrown away a moment later.
if folder := in_memory():
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(folder))

# What is drawn at random is the same in every run; `--hypothesis-profile=default` looks elsewhere each time.
settings.register_profile(
    "same", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("same")

# What takes longest begins first, so that no core waits for another's last file.
LONG = (
    "test_bench_day.py",
    "test_pages_in_a_browser.py",
    "test_bench.py",
    "test_any_season.py",
    "test_never_lost.py",
    "test_coverage.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the long files in front and leave everything else as it was."""
    turn = {name: number for number, name in enumerate(LONG)}
    items.sort(key=lambda item: turn.get(item.path.name, len(LONG)))


# What rests on the database itself is tried on both; pages and commands, which rest on these, on SQLite.
ON_BOTH = ("storage", "steps", "lookups", "rules")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run each test that opens a season on every kind of database, or on those its file names as ONLY_ON."""
    if "databases" in metafunc.fixturenames and metafunc.definition.path.parent.name in ON_BOTH:
        kinds = getattr(metafunc.module, "ONLY_ON", KINDS)
        metafunc.parametrize("databases", kinds, indirect=True, scope="session")


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL for the run."""
    begun = begin_cluster()
    yield begun
    begun.end()


@pytest.fixture(scope="session")
def databases(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Databases:
    """Where this test's seasons come from."""
    if getattr(request, "param", "sqlite") == "postgresql":
        found: Cluster = request.getfixturevalue("cluster")
        return found
    return Files(tmp_path_factory.mktemp("templates"))


def build_season(address: str) -> None:
    """A migrated database that knows its people and one producer."""
    database = Database(address)
    database.migrate()
    with database.act("add people", "", {}) as session:
        make_people(session)
    database.close()


@pytest.fixture(scope="session")
def season_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of such a season, never opened by a test."""
    path = tmp_path_factory.mktemp("template") / "season.db"
    build_season(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def season_begun(databases: Databases) -> str:
    """The address of such a season on this kind of database, never opened by a test."""
    return databases.template("people", build_season)


@pytest.fixture
def season(databases: Databases, season_begun: str, tmp_path: Path) -> Iterator[Database]:
    """An open season of the test's own; its office clock stands at the start of the makers' day."""
    address = databases.copy(season_begun, tmp_path)
    database = Database(address, clock=lambda: at(0))
    yield database
    database.close()
    databases.drop(address)
