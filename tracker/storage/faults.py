"""What a database says when it could not do what was asked, told by its codes and never by its words.

SQLite's codes: sqlite.org/rescode.html. PostgreSQL's: appendix A of its manual, which are those of the SQL standard.
"""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnectionFree

from tracker.errors import Unavailable
from tracker.files.disk import disk_full

# Trouble that is not the program's and may pass: others write, the disk is full or away, the file cannot be written.
PASSING_SQLITE = {
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_CANTOPEN,
}
# 08 connection, 40 rolled back to let others on, 53 too little disk, memory or connections, 57 the operator steps in,
# 58 disk faults; then: the lock did not come in time, a session idle for too long, a copy that may only be read.
PASSING_STATES = ("08", "40", "53", "57", "58", "55P03", "25P03", "25006")
TAKEN_SQLITE = {sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY}
TAKEN_STATE = "23505"
FULL_STATE = "53100"
READ_ONLY_STATE = "25006"


def told_by(fault: Exception, driver: type[Exception]) -> SQLAlchemyError:
    """A fault of the driver as SQLAlchemy tells it. driver: what all its faults are kinds of."""
    told = DBAPIError.instance(None, None, fault, driver)
    assert isinstance(told, SQLAlchemyError)
    return told


def is_taken(error: IntegrityError) -> bool:
    """Whether something with the same name, number or key is there already."""
    code = getattr(error.orig, "sqlite_errorcode", None)
    return code in TAKEN_SQLITE if code is not None else state_of(error) == TAKEN_STATE


def is_passing(error: SQLAlchemyError) -> bool:
    """Whether trying again later may help: the database was busy, full or away. A fault of ours is not passing."""
    if isinstance(error, NoConnectionFree):
        return True
    if not isinstance(error, DBAPIError):
        return False
    kind = _sqlite_kind(error)
    if kind is not None:
        return kind in PASSING_SQLITE
    return is_lost(error) or (state_of(error) or "").startswith(PASSING_STATES)


def is_lost(error: SQLAlchemyError) -> bool:
    """Whether the connection itself is gone, so that nobody can say what became of a commit on its way."""
    if not isinstance(error, DBAPIError) or hasattr(error.orig, "sqlite_errorcode"):
        return False
    state = state_of(error)
    cut = state is None and type(error.orig).__name__ in ("OperationalError", "InterfaceError")
    return error.connection_invalidated or cut or (state or "").startswith(("08", "57P"))


def has_no_room(error: SQLAlchemyError) -> bool:
    """Whether the disk is full."""
    if not isinstance(error, DBAPIError):
        return False
    return _sqlite_kind(error) == sqlite3.SQLITE_FULL or state_of(error) == FULL_STATE


def refusal(fault: SQLAlchemyError, what: str) -> Unavailable:
    """What a person is told of a passing fault. what: "asked" or "written", whatever the season could not be.

    Says nothing of where the database is: strangers read it too.
    """
    kind = _sqlite_kind(fault)
    if has_no_room(fault):
        return disk_full(f"The season could not be {what}: its disk is full.")
    if kind == sqlite3.SQLITE_READONLY or (
        isinstance(fault, DBAPIError) and state_of(fault) == READ_ONLY_STATE
    ):
        return Unavailable(
            "database-read-only",
            f"The season could not be {what}: it can only be read just now.",
            remedy="Nothing was recorded. Let the program's account write the season and its folder, "
            "or name the database server that takes entries.",
        )
    if kind == sqlite3.SQLITE_CANTOPEN or is_lost(fault):
        return away(f"The season could not be {what}: its database does not answer.")
    return busy(what, words_of(fault))


def away(message: str) -> Unavailable:
    """The database is not where it was."""
    return Unavailable(
        "database-away",
        message,
        remedy="Nothing was recorded. Do it again in a minute; if it stays so, tell whoever keeps the server.",
    )


def busy(what: str, why: str) -> Unavailable:
    """Others are at it, for longer than anybody should wait."""
    return Unavailable(
        "database-busy",
        f"The season could not be {what}: {why}.",
        remedy="Nothing was recorded. Try again; if it stays so, look at the disk and who else writes.",
    )


def _sqlite_kind(error: SQLAlchemyError) -> int | None:
    """SQLite's primary result code, None where it is no word of SQLite."""
    code: int | None = getattr(getattr(error, "orig", None), "sqlite_errorcode", None)
    # The low byte is the kind, the rest says more exactly which (extended result codes).
    return None if code is None else code & 0xFF


def state_of(error: DBAPIError) -> str | None:
    """The five characters of SQLSTATE, where the database gives them."""
    state: str | None = getattr(error.orig, "sqlstate", None)
    return state


def words_of(error: SQLAlchemyError) -> str:
    """The first line of what the database said, without a full stop."""
    said = str(getattr(error, "orig", None) or error).strip().splitlines()
    return said[0].rstrip(".") if said else type(error).__name__
