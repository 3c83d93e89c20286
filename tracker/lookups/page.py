"""One page of a list that may be long: the rows after the last one seen, by a key.

The database is asked for what comes after a key, never to count off what came before, so the thousandth page costs
what the first does. By number, what is added meanwhile comes on a later page, and nothing comes twice. By name, what
is added before the place that was reached is not seen, and who was erased meanwhile may come again by his new name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import literal, tuple_
from sqlalchemy.orm import Session

from tracker.errors import Refused
from tracker.storage.base import LARGEST_ID, Utc

Line = TypeVar("Line")
Key = tuple[int | str, ...]
# So many lines of a page that nobody said the length of.
USUAL = 50


@dataclass(frozen=True)
class Page(Generic[Line]):
    """Some lines of a list in its order. next: the key of the last, where more follow it."""

    items: tuple[Line, ...]
    next: Key | None = None


def page_of(
    session: Session,
    wanted: Any,
    by: Sequence[Any],
    line: Callable[..., Line],
    after: Key = (),
    limit: int = USUAL,
    *,
    down: bool = False,
) -> Page[Line]:
    """The rows of the question after a key, each made a line.

    by: columns that together name a row and are in an index: whole numbers, texts or moments; down: the greatest
    first. Raises Refused `not-a-cursor`.
    """
    rows, following = rows_of(session, wanted, by, after, limit, down=down)
    return Page(tuple(line(*row) for row in rows), following)


def rows_of(
    session: Session,
    wanted: Any,
    by: Sequence[Any],
    after: Key = (),
    limit: int = USUAL,
    *,
    down: bool = False,
) -> tuple[list[tuple[Any, ...]], Key | None]:
    """As page_of, the rows themselves and the key that the next page is asked for by."""
    if after:
        kinds = [datetime if isinstance(column.type, Utc) else column.type.python_type for column in by]
        require_key([str if kind is datetime else kind for kind in kinds], after)
        last = [
            literal(_moment(part) if kind is datetime else part, column.type)
            for part, kind, column in zip(after, kinds, by, strict=True)
        ]
        # The second is no news to anybody but to an index of the first column.
        if down:
            wanted = wanted.where(tuple_(*by) < tuple_(*last), by[0] <= last[0])
        else:
            wanted = wanted.where(tuple_(*by) > tuple_(*last), by[0] >= last[0])
    order = [column.desc() for column in by] if down else by
    # One more than is shown, to know whether there is a next page.
    rows = [tuple(row) for row in session.execute(wanted.add_columns(*by).order_by(*order).limit(limit + 1))]
    shown = [row[: -len(by)] for row in rows[:limit]]
    if len(rows) <= limit:
        return shown, None
    return shown, tuple(
        part.isoformat() if isinstance(part, datetime) else part for part in rows[limit - 1][-len(by) :]
    )


def whole_list(
    lines: Sequence[Line], key: Callable[[Line], Key], after: Key = (), limit: int = USUAL
) -> Page[Line]:
    """A page of a list that is short by its nature and read whole: balances, feeds, people.

    Raises Refused `not-a-cursor`, where there is a line to tell it by.
    """
    known = sorted(lines, key=key)
    if after and known:
        require_key([type(part) for part in key(known[0])], after)
        known = [one for one in known if key(one) > after]
    shown = tuple(known[:limit])
    return Page(shown, key(shown[-1]) if len(known) > limit else None)


def require_key(kinds: Sequence[type], after: Key) -> None:
    """Nothing, if a row of the list could have this key. Raises Refused `not-a-cursor`."""
    if [type(part) for part in after] == list(kinds) and all(_askable(part) for part in after):
        return
    raise not_a_cursor()


def not_a_cursor() -> Refused:
    """What is said of a key that no page of the list ends with."""
    return Refused(
        "not-a-cursor",
        "`after` is not the `next` of a page of this list.",
        field="after",
        remedy="Begin without it, and take it from the page before.",
    )


def _moment(part: int | str) -> datetime:
    try:
        read = datetime.fromisoformat(str(part))
        # Of the first and the last days of the calendar some hours are in no year.
        return read.astimezone(UTC)
    except (ValueError, OverflowError):
        raise not_a_cursor() from None


def _askable(part: int | str) -> bool:
    """Whether a database may be asked for it at all."""
    if isinstance(part, int):
        return 0 <= part <= LARGEST_ID
    return "\x00" not in part and part == part.encode(errors="ignore").decode()
