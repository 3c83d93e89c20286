"""What every command does alike: open the season, make the act, say what became of it."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act
    from tracker.storage.engine import Database

Run = Callable[[argparse.Namespace], int | None]
# Not part of what a person asked for, and so not kept with a refusal.
_OURS = ("run", "json", "database", "by")


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


def open_season(asked: argparse.Namespace, *, checked: bool = True) -> Database:
    """The database of this command. Raises NotFound `database-missing`, `database-version`."""
    from tracker.settings import read
    from tracker.storage.engine import Database

    season = Database(asked.database or read().database)
    if checked:
        season.check_version()
    return season


@contextmanager
def reading(asked: argparse.Namespace) -> Iterator[Session]:
    """A session for a question."""
    with open_season(asked).read() as session:
        yield session


@contextmanager
def acting(asked: argparse.Namespace) -> Iterator[tuple[Session, Act]]:
    """A session for one act, and the act: kept whole, or not at all and the refusal with what was asked."""
    from tracker.domain.custody import Act
    from tracker.domain.times import moment
    from tracker.errors import Refused
    from tracker.settings import read
    from tracker.storage.people import party

    season = open_season(asked)
    by = asked.by or read().by
    given = {name: value for name, value in vars(asked).items() if name not in _OURS and value is not None}
    with season.act(asked.act, by, given) as session:
        if not by:
            raise Refused(
                "nobody-named",
                "It is not said who does this.",
                field="by",
                remedy="Give --by KEY, or set TRACKER_BY; `tracker people` lists the keys.",
            )
        now = season.clock()
        at = moment(asked.at, field="at") if asked.at else now.astimezone()
        yield session, Act(party(session, by), at, now, note=asked.note, late_reason=asked.late_reason)


def say(asked: argparse.Namespace, values: Any, *lines: str) -> None:
    """The answer: the lines for people, or the values as JSON."""
    if asked.json:
        print(json.dumps(plain(values), ensure_ascii=False, indent=1))
    else:
        for line in lines:
            print(line)


def plain(value: Any) -> Any:
    """Values as JSON knows them; decimals stay text so that their digits stay."""
    if is_dataclass(value) and not isinstance(value, type):
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
    """A file that appears whole or not at all: written beside its place, and moved there at the end."""
    wanted = Path(path)
    wanted.parent.mkdir(parents=True, exist_ok=True)
    beside = wanted.with_name(f".{wanted.name}.part")
    try:
        yield beside
        beside.replace(wanted)
    finally:
        beside.unlink(missing_ok=True)
