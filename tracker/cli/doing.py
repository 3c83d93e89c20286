"""What every command does alike: open the season, make the act, say what became of it."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act
    from tracker.errors import TrackerError
    from tracker.files.key_file import KeyFile
    from tracker.storage.engine import Database

Run = Callable[[argparse.Namespace], int | None]
# Not part of what a person asked for, and so not kept with a refusal.
_OURS = ("run", "json", "database", "by", "kept")
# What a column can hold and an int in Python need not.
LARGEST = 2**31 - 1


def command(commands: Any, name: str, words: str, run: Run, *, acts: bool = True) -> argparse.ArgumentParser:
    """Add a command; one that acts knows who, when and why."""
    made: argparse.ArgumentParser = commands.add_parser(name, help=words, description=words)
    made.set_defaults(run=run, act=name)
    made.add_argument("--json", action="store_true", help="answer in JSON")
    made.add_argument("--database", metavar="ADDRESS", help="else TRACKER_DATABASE, else sqlite:///season.db")
    if acts:
        made.add_argument("--by", metavar="KEY", help="who does this; else TRACKER_BY")
        made.add_argument(
            "--at", metavar="TIME", help="when it happened, like 2026-06-14T09:10:00-05:00; else now"
        )
        made.add_argument("--late-reason", metavar="WORDS", default="", help="why it is entered out of order")
        made.add_argument("--note", metavar="WORDS", default="", help="anything to remember")
    return made


def integer(text: str) -> int:
    """For argparse: a whole number that the database can hold."""
    if not text.isascii() or abs(found := int(text)) > LARGEST:
        raise ValueError(text)
    return found


def open_season(asked: argparse.Namespace, *, checked: bool = True) -> Database:
    """The database of this command, to be closed.

    Raises NotFound `database-missing`, `database-version`, `database-unreadable`, Refused `database-address`.
    """
    from tracker.settings import read
    from tracker.storage.engine import Database

    settings = read()
    address = asked.database or settings.database
    with database_faults(address):
        season = Database(address)
        season.key_file = key_file_of(season, settings.log_key_file)
        if checked:
            _check(season)
    return season


def key_file_of(season: Database, told: str) -> KeyFile | None:
    """Where the log's key lies: where the settings say, else beside the database; None where neither is known."""
    from pathlib import Path

    from tracker.files.key_file import KeyFile

    if told:
        return KeyFile(Path(told))
    url = season.engine.url
    if url.get_backend_name() != "sqlite" or not url.database or url.database.startswith((":", "file:")):
        return None
    return KeyFile(Path(url.database).resolve().with_suffix(".key"))


def _check(season: Database) -> None:
    from tracker.errors import NotFound

    try:
        _refuse_missing_file(season)
        season.check_version()
    except NotFound as missing:
        missing.field = "database"
        raise


def without_password(address: str) -> str:
    """The address as it may be shown, whether or not it is one."""
    return re.sub(r"(://[^:/@]*:).*@", r"\1***@", address)


@contextmanager
def database_faults(address: str) -> Iterator[None]:
    """What the database itself says while it is opened or made becomes a refusal with the address.

    Raises Refused `database-address`, NotFound `database-unreadable`, Unavailable `disk-full`.
    """
    from sqlalchemy.exc import ArgumentError, DBAPIError

    from tracker.errors import NotFound, Refused
    from tracker.files.disk import disk_full
    from tracker.storage.faults import has_no_room, words_of

    try:
        yield
    except (ArgumentError, ImportError):
        raise Refused(
            "database-address",
            f"{without_password(address)!r} is not a database address that is understood here.",
            field="database",
            remedy="Write it like sqlite:///season.db or postgresql+psycopg://account@host/season.",
        ) from None
    except DBAPIError as fault:
        if has_no_room(fault):
            raise disk_full(f"{without_password(address)} cannot be used: its disk is full.") from None
        raise NotFound(
            "database-unreadable",
            f"{without_password(address)} cannot be used: {words_of(fault)}.",
            field="database",
            remedy="Is it a season, and may you read and write it and its folder? Check the address.",
        ) from None


def _refuse_missing_file(season: Database) -> None:
    """SQLite would make an empty file of a mistyped name, and it would lie there."""
    from pathlib import Path

    from tracker.errors import NotFound

    url = season.engine.url
    if url.get_backend_name() != "sqlite" or not url.database or url.database.startswith((":", "file:")):
        return
    if Path(url.database).parent.is_dir() and not Path(url.database).exists():
        raise NotFound(
            "database-missing",
            f"There is no season in {season.shown}.",
            remedy="Make one with `tracker init`, or name another with --database or TRACKER_DATABASE.",
        )


@contextmanager
def reading(asked: argparse.Namespace) -> Iterator[Session]:
    """A session for a question."""
    with closing(open_season(asked)) as season, season.read() as session:
        yield session


@contextmanager
def acting(asked: argparse.Namespace) -> Iterator[tuple[Session, Act]]:
    """A session for one act, and the act: kept whole, or not at all and the refusal with what was asked."""
    from tracker.domain.custody import Act
    from tracker.domain.times import moment
    from tracker.errors import TrackerError
    from tracker.storage.people import party

    try:
        with _season_act(asked) as (season, session, by):
            if not by:
                raise _nobody_named()
            now = season.clock()
            at = moment(asked.at, field="at") if asked.at else now.astimezone()
            yield session, Act(party(session, by), at, now, note=asked.note, late_reason=asked.late_reason)
    except TrackerError as refused:
        asked.kept = refused
        raise


@contextmanager
def _season_act(asked: argparse.Namespace) -> Iterator[tuple[Database, Session, str]]:
    from tracker.settings import read

    by = asked.by or read().by
    given = {name: value for name, value in vars(asked).items() if name not in _OURS and value is not None}
    with closing(open_season(asked)) as season, season.act(asked.act, by, given) as session:
        yield season, session, by


def _nobody_named() -> TrackerError:
    from tracker.errors import Refused

    return Refused(
        "nobody-named",
        "It is not said who does this.",
        field="by",
        remedy="Give --by KEY, or set TRACKER_BY; `tracker people` lists the keys.",
    )


def keep(asked: argparse.Namespace, refused: TrackerError) -> None:
    """Keep what an act was refused before it reached the season: a file, a name or a change that was not one.

    A question leaves nothing behind, and where there is no season nothing can be kept.
    """
    from tracker.errors import TrackerError

    if not hasattr(asked, "by") or getattr(asked, "kept", None) is refused:
        return
    with suppress(TrackerError), _season_act(asked):
        raise refused


def changes_in(texts: Sequence[str], field: str) -> dict[str, str]:
    """Fields and their values from FIELD=VALUE. Raises Refused `not-a-change`."""
    from tracker.errors import Refused

    changes = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            raise Refused(
                "not-a-change",
                f"{text!r} is not a field and its value.",
                field=field,
                remedy="Write it like grams=236.40.",
            )
        changes[name.strip()] = value.strip()
    return changes


def say(asked: argparse.Namespace, values: Any, *lines: str) -> None:
    """The answer: the lines for people, or the values as JSON."""
    if asked.json:
        print(as_json(values))
    else:
        for line in lines:
            print(line)


def as_json(values: Any) -> str:
    """Values as JSON for the terminal; escaped where the terminal has not all letters."""
    import json

    whole = "utf" in (sys.stdout.encoding or "").lower()
    return json.dumps(plain(values), ensure_ascii=not whole, indent=1)


def plain(value: Any) -> Any:
    """Values as JSON knows them; decimals stay text so that their digits stay."""
    from datetime import date, datetime
    from decimal import Decimal
    from pathlib import Path

    if hasattr(value, "__dataclass_fields__") and not isinstance(value, type):
        from dataclasses import asdict

        return plain(asdict(value))
    if isinstance(value, dict):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(part) for part in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    return value


def counted(count: int, noun: str) -> str:
    """1 sack, 2 sacks."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def table(header: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """Rows under their heading in columns; a dash for what is not known."""
    texts = [[("–" if cell in (None, "") else str(cell)) for cell in row] for row in (header, *rows)]
    widths = [max(len(row[column]) for row in texts) for column in range(len(header))]
    return [
        "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
        for row in texts
    ]


def progress(asked: argparse.Namespace, what: str) -> Callable[[int, int], None] | None:
    """A counter on the terminal for long work; none where nobody watches."""
    if asked.json or not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        if done == total or done % 20 == 0:
            print(
                f"\r{what} {done} of {total}", end="\n" if done == total else "", file=sys.stderr, flush=True
            )

    return show


@contextmanager
def writing(path: str) -> Iterator[Path]:
    """A file that appears whole or not at all: written beside its place, and moved there at the end.

    Raises Refused `file-not-written`, before anything else is done where that can be seen beforehand.
    """
    from pathlib import Path

    wanted = Path(path)
    beside = wanted.with_name(f".{wanted.name}.part") if wanted.name else wanted
    try:
        if not wanted.name or wanted.is_dir():
            raise IsADirectoryError(0, "it is a folder")
        wanted.parent.mkdir(parents=True, exist_ok=True)
        beside.touch()
        yield beside
        beside.replace(wanted)
    except OSError as fault:
        raise _not_written(path, fault) from fault
    finally:
        if beside != wanted:
            with suppress(OSError):
                beside.unlink(missing_ok=True)


def _not_written(path: str, fault: OSError) -> TrackerError:
    from tracker.errors import Refused

    return Refused(
        "file-not-written",
        f"{path} cannot be written: {fault.strerror or fault}.",
        field="out",
        remedy="Name a file in a folder that you may write in, on a disk that is not full.",
    )
