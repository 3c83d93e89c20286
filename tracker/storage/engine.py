"""The database and its two kinds of session: one that only reads, and one that does a single act or nothing.

On SQLite an act takes the write lock at its start (BEGIN IMMEDIATE): a transaction that reads first and locks
later can lose another's update or fail half-way. The log is written through to disk before an act is confirmed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.orm import Session

from tracker.errors import Conflict, NotFound, TrackerError
from tracker.files.key_file import KeyFile
from tracker.storage.kept import keep_refusal

BUSY_MS = 30_000
PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    # Without it INSERT OR REPLACE would take rows away past the guards of the tables that only grow.
    "recursive_triggers=ON",
    f"busy_timeout={BUSY_MS}",
)
# What SQLite says of trouble that is not the program's.
PASSING = ("locked", "busy", "readonly", "full", "disk i/o", "unable to open")
VERSIONS = Path(__file__).parent / "migrations" / "versions"


def now_utc() -> datetime:
    """The office's clock."""
    return datetime.now(UTC)


class Database:
    """Where everything is kept; url as SQLAlchemy writes it, for example sqlite:///season.db.

    key_file: where the key lies that signs the log; without one nothing is signed.
    """

    def __init__(
        self, url: str, clock: Callable[[], datetime] = now_utc, key_file: KeyFile | None = None
    ) -> None:
        self.url = url
        self.clock = clock
        self.key_file = key_file
        self.engine = _engine(url)
        self._writing = self.engine.execution_options(writing=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for questions; whatever it holds is thrown away at the end."""
        with Session(self.engine, expire_on_commit=False, info={"key file": self.key_file}) as session:
            yield session

    @contextmanager
    def act(self, name: str, by: str, given: Mapping[str, Any]) -> Iterator[Session]:
        """A session for one act: all of it is kept, or none of it and the refusal with the values given.

        What the tables themselves refuse becomes Conflict `recorded-meanwhile` or `database-busy`.
        """
        with Session(self._writing, expire_on_commit=False, info={"key file": self.key_file}) as session:
            try:
                yield session
                session.commit()
            except TrackerError as refused:
                session.rollback()
                self._keep(name, by, given, refused)
                raise
            except IntegrityError as clash:
                session.rollback()
                if "unique" not in str(clash.orig).lower():
                    raise
                conflict = Conflict(
                    "recorded-meanwhile",
                    "Something with the same name or number is recorded already.",
                    remedy="Look at what is there, then do it again if it is still wanted.",
                )
                self._keep(name, by, given, conflict)
                raise conflict from clash
            except OperationalError as busy:
                # A fault of ours must not pass for a busy disk.
                if not any(word in str(busy.orig).lower() for word in PASSING):
                    raise
                raise Conflict(
                    "database-busy",
                    f"The season could not be written: {busy.orig}.",
                    remedy="Nothing was recorded. Try again; if it stays so, look at the disk and who else writes.",
                ) from busy

    def _keep(self, name: str, by: str, given: Mapping[str, Any], refused: TrackerError) -> None:
        # The refusal is said even where it cannot be kept: its words matter more than the note of it.
        with suppress(OperationalError), Session(self._writing) as session:
            keep_refusal(session, self.clock(), name, by, given, refused)
            session.commit()

    def migrate(self) -> None:
        """Bring the tables up to this program's version; does nothing where they are."""
        # Alembic takes a while to import, and only this needs it.
        from tracker.storage.migrations import upgrade

        with self._writing.begin() as connection:
            upgrade(connection)

    def check_version(self) -> None:
        """Nothing, if the tables are this program's; else NotFound `database-missing` or `database-version`."""
        with self.engine.connect() as connection:
            found = _version(connection)
        if found is None:
            raise NotFound(
                "database-missing",
                f"There is no season in {self.engine.url.render_as_string()}.",
                remedy="Make one with `tracker init`, or name another with --database or TRACKER_DATABASE.",
            )
        if found != newest_version():
            raise NotFound(
                "database-version",
                f"The database is at version {found}, this program at {newest_version()}.",
                remedy="Make a backup, then run `tracker init` of the newer program.",
            )

    def close(self) -> None:
        self.engine.dispose()


def newest_version() -> str:
    """The version of the last migration, read from its file's name."""
    return max(path.stem for path in VERSIONS.glob("[0-9]*.py")).split("_")[0]


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.scalar(text("select version_num from alembic_version"))
    return found


def _engine(url: str) -> Engine:
    engine = create_engine(url)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, record: Any) -> None:
    # The driver would begin transactions by itself, and too late; we say BEGIN.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
