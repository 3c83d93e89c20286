"""What a figure of the programme's page is, and the list behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from tracker.domain.practice import Practice

# A list longer than this is looked at as an export.
MOST_LISTED = 500


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
class Listing:
    """The rows behind a figure, under a heading. code_at: the column that holds a tag's code, to be opened by it."""

    name: str
    words: str
    heading: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]
    more: int = 0
    code_at: int | None = None


def listing(
    name: str,
    words: str,
    heading: Sequence[str],
    rows: Sequence[Sequence[object]],
    code_at: int | None = None,
) -> Listing:
    """The list, cut where it is too long to be read, with how many are left off."""
    shown = tuple(tuple(row) for row in rows[:MOST_LISTED])
    return Listing(name, words, tuple(heading), shown, max(0, len(rows) - MOST_LISTED), code_at)
