"""Supplements from a table: the one that comes with the program, or a programme's own.

Columns are the values of a feed (tracker.domain.feed), told by name in any order; shares in % of dry matter.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tracker.domain.feed import NEEDED, OPTIONAL, Feed, checked_feed
from tracker.errors import NotFound, Refused
from tracker.files.columns import columns_of
from tracker.files.table import Table
from tracker.files.table_file import read_table

NAME = "supplements.csv"


@dataclass(frozen=True)
class FeedRow:
    """One line of the file: a feed, or what is wrong with it, and its cells as written either way."""

    line: int
    cells: tuple[str, ...]
    feed: Feed | None
    problem: Refused | None


def read_feeds(table: Table) -> tuple[FeedRow, ...]:
    """Each row as a feed or its complaint.

    Raises Refused `columns-missing` or `columns-unknown` when the table is no list of feeds.
    """
    names = columns_of(table.header, NEEDED, OPTIONAL, "list of feeds")
    return tuple(_rows(table, names))


def _rows(table: Table, names: tuple[str, ...]) -> Iterator[FeedRow]:
    keys: dict[str, int] = {}
    for row in table.rows:
        if row.problem is not None:
            broken = row.problem
            complaint = Refused(broken.code, broken.words, line=row.line, remedy=broken.suggestion)
            yield FeedRow(row.line, row.cells, None, complaint)
            continue
        try:
            feed = checked_feed(dict(zip(names, row.cells, strict=True)))
            if feed.key in keys:
                raise Refused(
                    "feed-twice",
                    f"{feed.key} stands on line {keys[feed.key]} too.",
                    field="key",
                    remedy="Keep one of the two lines.",
                )
        except Refused as refused:
            refused.line = row.line
            yield FeedRow(row.line, row.cells, None, refused)
        else:
            keys[feed.key] = row.line
            yield FeedRow(row.line, row.cells, feed, None)


@cache
def shipped_feeds() -> tuple[Feed, ...]:
    """The table that comes with the program. Raises NotFound `fixtures-missing`."""
    path = _shipped()
    rows = read_feeds(read_table(path.name, path.read_bytes()))
    wrong = next((row.problem for row in rows if row.problem is not None), None)
    if wrong is not None:
        raise wrong
    return tuple(row.feed for row in rows if row.feed is not None)


def _shipped() -> Path:
    places = (
        Path(__file__).parents[2] / "fixtures" / NAME,
        Path(sys.prefix) / "share" / "hay-sample-tracking" / "fixtures" / NAME,
    )
    found = next((place for place in places if place.exists()), None)
    if found is None:
        raise NotFound(
            "fixtures-missing",
            f"The table of supplements is not in {places[0]}.",
            field="fixtures",
            remedy="Install the program from its sources again.",
        )
    return found
