"""What a figure of the programme's page is, and a page of the list behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from tracker.domain.practice import Practice
from tracker.lookups.page import Key, Page

Cells = tuple[object, ...]


@dataclass(frozen=True)
class Scope:
    """Which lots are counted, and when."""

    season: int
    now: datetime
    practice: Practice


@dataclass(frozen=True)
class Figure:
    """One number: key names the list behind it; value None where nothing can be said yet; words: what it counts.

    parts: what the number is the sum of, where a picture shows it.
    """

    key: str
    name: str
    value: Decimal | int | None
    unit: str = ""
    words: str = ""
    parts: tuple[int, ...] = ()


@dataclass(frozen=True)
class Asked:
    """Which rows behind a figure: which of its kind, after which key, and so many."""

    which: str
    after: Key
    limit: int


@dataclass(frozen=True)
class Listing:
    """A page of the rows behind a figure, under a heading. next: the key of its last row, where more follow.

    code_at: the column that holds a tag's code, to be opened by it.
    """

    name: str
    words: str
    heading: tuple[str, ...]
    rows: tuple[Cells, ...]
    next: Key | None = None
    code_at: int | None = None


def listing(
    name: str, words: str, heading: Sequence[str], page: Page[Cells], code_at: int | None = None
) -> Listing:
    """The page under its name and heading."""
    return Listing(name, words, tuple(heading), page.items, page.next, code_at)


def hay_said(producer: str, field: str, cutting: int) -> str:
    """Whose hay of which field and cutting, in one cell."""
    return f"{producer}, {field}, cutting {cutting}"
