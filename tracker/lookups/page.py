"""One page of a list that may be long: the rows after the last one seen, by a key.

The database is asked for what comes after a key, never to count off what came before, so the thousandth page costs
what the first does. By number, what is added meanwhile comes on a later page, and nothing comes twice. By name, what
is added before the place that was reached is not seen, and who was erased meanwhile may come again by his new name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import tuple_
from sqlalchemy.orm import Session

from tracker.errors import Refused
from tracker.storage.base import LARGEST_ID

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
) -> Page[Line]:
    """The rows of the question after a key, each made a line.

    by: columns that together name a row and are in an index, whole numbers or texts. Raises Refused `not-a-cursor`.
    """
    rows, following = rows_of(session, wanted, by, after, limit)
    return Page(tuple(line(*row) for row in rows), following)


def rows_of(
    session: Session, wanted: Any, by: Sequence[Any], after: Key = (), limit: int = USUAL
) -> tuple[list[tuple[Any, ...]], Key | None]:
    """As page_of, the rows themselves and the key that the next page is asked for by."""
    if after:
        require_key([column.type.python_type for column in by], after)
        # The second is no news to anybody but to an index of the first column.
        wanted = wanted.where(tuple_(*by) > tuple_(*after), by[0] >= after[0])
    # One more than is shown, to know whether there is a next page.
    rows = [tuple(row) for row in session.execute(wanted.add_columns(*by).order_by(*by).limit(limit + 1))]
    key = rows[limit - 1][-len(by) :] if len(rows) > limit else None
    return [row[: -len(by)] for row in rows[:limit]], key


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


def _askable(part: int | str) -> bool:
    """Whether a database may be asked for it at all."""
    if isinstance(part, int):
        return 0 <= part <= LARGEST_ID
    return "\x00" not in part and part == part.encode(errors="ignore").decode()
