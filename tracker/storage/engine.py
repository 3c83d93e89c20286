"""The database and its two kinds of session: one that only reads, and one that does a single act or nothing.

Acts go one after the other, in the order in which they were begun: one that reads first and locks later can lose
another's update or fail half-way, and the log's numbers have no holes. On SQLite an act takes the write lock at its
start (BEGIN IMMEDIATE), in its turn; on PostgreSQL it holds one lock of the database's own, for which the server
keeps a queue. An act is confirmed when it is on the disk.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, ExceptionContext, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionFree
from sqlalchemy.orm import Session

from tracker.errors import Conflict, NotFound, TrackerError, Unavailable
from tracker.files.key_file import KeyFile
from tracker.storage import grants
from tracker.storage.faults import busy, is_lost, is_passing, is_taken, refusal, told_by, words_of
from tracker.storage.kept import keep_refusal
from tracker.storage.questions import Asking
from tracker.storage.season_file import SeasonFile
from tracker.storage.turn import TurnDidNotCome, turn

LOG = logging.getLogger(__name__)
BUSY_MS = 30_000
PRAGMAS = (
    "journal_mode=WAL",
    "synchronous=FULL",
    "foreign_keys=ON",
    # Without it INSERT OR REPLACE would take rows away past the guards of the tables that only grow.
    "recursive_triggers=ON",
    f"busy_timeout={BUSY_MS}",
)
# Any number does, as long as every program that writes into the season takes the same; it holds in one database.
WRITERS_LOCK = 7_204_417
# A program that went away in the middle of an act, without a word, keeps the others waiting no longer than this.
IDLE_MS = 600_000
BEGIN_WRITING = (
    f"set local lock_timeout = {BUSY_MS}; set local idle_in_transaction_session_timeout = {IDLE_MS}; "
    f"select pg_advisory_xact_lock({WRITERS_LOCK})"
)
# Connections kept open, and those opened beside them when many ask at once.
POOL, MORE = 8, 32
# Under this name a connection keeps the fault for which SQLite took its transaction back.
TAKEN_BACK = "taken back"
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
        self.file = _file(self.engine)
        self._place = SeasonFile(self.file)
        event.listen(self.engine, "do_connect", self._place.before)
        event.listen(self.engine, "connect", self._place.after)
        self._writing = self.engine.execution_options(writing=True)
        # A question of several parts sees one moment; on SQLite it does so anyway.
        options = {} if _is_sqlite(self.engine) else {"isolation_level": "REPEATABLE READ"}
        # Whatever the driver itself may raise.
        self._fault: type[Exception] = self.engine.dialect.loaded_dbapi.Error
        self._asking = self.engine.execution_options(**options)
        # Connections to our own file that wait for the next question.
        self._idle: list[Any] = []
        self._lent = self._pooled if self.file is None else self._kept
        event.listen(self.engine, "engine_disposed", self._let_go)

    @property
    def shown(self) -> str:
        """The address without its password."""
        return self.engine.url.render_as_string(hide_password=True)

    def _session(self, engine: Engine) -> Session:
        return Session(engine, expire_on_commit=False, info={"key file": self.key_file, "clock": self.clock})

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for questions; whatever it holds is thrown away at the end.

        Raises Unavailable `database-busy`, `database-away` where the database cannot be asked just now.
        """
        self._place.check()
        with self._session(self._asking) as session:
            try:
                yield session
            except SQLAlchemyError as fault:
                if not is_passing(fault):
                    raise
                raise self._refused(fault, "asked") from fault

    @contextmanager
    def ask(self) -> Iterator[Asking]:
        """For questions that were put into words once, without a session. Raises as read."""
        self._place.check()
        try:
            with self._lent() as connection:
                yield Asking(connection, self.engine.dialect)
        except NoConnectionFree as fault:
            raise self._refused(fault, "asked") from fault
        except self._fault as fault:
            told = told_by(fault, self._fault)
            raise (self._refused(told, "asked") if is_passing(told) else told) from fault

    @contextmanager
    def _pooled(self) -> Iterator[Any]:
        """A server's connection, which may have died while it lay idle: the pool finds that out."""
        connection = self.engine.raw_connection()
        try:
            yield connection.driver_connection
        except self._fault as fault:
            # What failed once is not asked again by somebody else.
            connection.invalidate(fault)
            raise
        finally:
            connection.close()

    @contextmanager
    def _kept(self) -> Iterator[Any]:
        """A connection to our own file, kept for whoever asks next.

        The pool takes longer to lend one than the file takes to answer.
        """
        try:
            connection = self._idle.pop()
        except IndexError:
            pooled = self.engine.raw_connection()
            connection = pooled.driver_connection
            pooled.detach()
        sound = True
        try:
            yield connection
        except self._fault:
            sound = False
            raise
        finally:
            if sound:
                self._idle.append(connection)
            else:
                connection.close()

    def _let_go(self, _: Engine) -> None:
        while self._idle:
            self._idle.pop().close()

    @contextmanager
    def act(self, name: str, by: str, given: Mapping[str, Any]) -> Iterator[Session]:
        """A session for one act: all of it is kept, or none of it and the refusal with the values given.

        What the tables themselves refuse becomes Conflict `recorded-meanwhile`; where the connection was lost on
        the last step, and nobody can say what became of it, Conflict `perhaps-recorded`. Raises Unavailable
        `database-busy`, `database-away`, `database-read-only`, `disk-full` where nothing can be recorded just now.
        """
        self._place.check()
        with self._in_turn(), self._session(self._writing) as session:
            ending = False
            try:
                yield session
                session.flush()
                ending = True
                session.commit()
            except TrackerError as refused:
                session.rollback()
                self._keep(name, by, given, refused)
                raise
            except IntegrityError as clash:
                session.rollback()
                if not is_taken(clash):
                    raise
                conflict = Conflict(
                    "recorded-meanwhile",
                    "Something with the same name or number is recorded already.",
                    remedy="Look at what is there, then do it again if it is still wanted.",
                )
                self._keep(name, by, given, conflict)
                raise conflict from clash
            except SQLAlchemyError as fault:
                # A fault of ours must not pass for a busy disk.
                if not is_passing(fault):
                    raise
                if ending and is_lost(fault):
                    raise _unsure() from fault
                raise self._refused(fault, "written") from fault

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        if self.file is None:
            yield
            return
        try:
            with turn(self.file, BUSY_MS / 1000):
                yield
        except TurnDidNotCome:
            raise busy("written", "others have been writing all the while") from None

    def _refused(self, fault: SQLAlchemyError, what: str) -> Unavailable:
        # Whoever keeps the server reads here what a stranger is not told.
        LOG.warning("the season could not be %s: %s", what, words_of(fault))
        return refusal(fault, what)

    def _keep(self, name: str, by: str, given: Mapping[str, Any], refused: TrackerError) -> None:
        # The refusal is said even where it cannot be kept: its words matter more than the note of it.
        with suppress(SQLAlchemyError), Session(self._writing) as session:
            keep_refusal(session, self.clock(), name, by, given, refused)
            session.commit()

    def migrate(self, *, let: str | None = None) -> None:
        """Bring the tables up to this program's version; does nothing where they are.

        let: the account of a PostgreSQL that the pages run under, to be given its rights; those who have them
        keep them. Raises NotFound `unknown-account`.
        """
        # Alembic takes a while to import, and only this needs it.
        from tracker.storage.migrations import upgrade

        with self._writing.begin() as connection:
            upgrade(connection)
            grants.let_again(connection)
            if let is not None:
                grants.let(connection, let)

    def check_version(self) -> None:
        """Nothing, if the tables are this program's; else NotFound `database-missing` or `database-version`.

        Raises Unavailable `database-away`.
        """
        self._place.check()
        with self.engine.connect() as connection:
            found = _version(connection)
        if found is None:
            raise NotFound(
                "database-missing",
                f"There is no season in {self.shown}.",
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


def _unsure() -> Conflict:
    return Conflict(
        "perhaps-recorded",
        "The database went away just when this was to be recorded.",
        remedy="Look whether it is there before you enter it again.",
    )


def _is_sqlite(engine: Engine) -> bool:
    return engine.dialect.name == "sqlite"


def _file(engine: Engine) -> Path | None:
    """The file that the season is, or None where it is none of ours to look at."""
    name = engine.url.database
    in_file = _is_sqlite(engine) and name and not name.startswith((":", "file:"))
    return Path(str(name)) if in_file else None


def _engine(url: str) -> Engine:
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        engine = create_engine(address)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        event.listen(engine, "handle_error", _note_taken_back)
        event.listen(engine, "before_cursor_execute", _refuse_after)
        event.listen(engine, "commit", _refuse_after)
        return engine
    # A connection that died while it lay idle is found out and replaced before anybody is given it.
    engine = create_engine(address, pool_size=POOL, max_overflow=MORE, pool_pre_ping=True)
    event.listen(engine, "begin", _begin_server)
    return engine


def _prepare_sqlite(connection: Any, record: Any) -> None:
    # The driver would begin transactions by itself, and too late; we say BEGIN.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in PRAGMAS:
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    connection.info.pop(TAKEN_BACK, None)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if _writes(connection) else "BEGIN")


def _note_taken_back(fault: ExceptionContext) -> None:
    """On a full disk SQLite takes the whole transaction back by itself (sqlite.org/lang_transaction.html, 3)."""
    connection = fault.connection
    if connection is not None and not connection.connection.in_transaction:
        connection.info[TAKEN_BACK] = fault.sqlalchemy_exception


def _refuse_after(connection: Connection, *_: Any) -> None:
    """What followed would be kept line by line, outside any act: half of one."""
    fault = connection.info.get(TAKEN_BACK)
    if fault is not None:
        raise fault


def _begin_server(connection: Connection) -> None:
    if _writes(connection):
        connection.exec_driver_sql(BEGIN_WRITING)


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get("writing", False))
