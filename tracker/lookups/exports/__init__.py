"""The programme's tables as they leave it: each a heading of columns with units, and rows that come as they are read.

What stands here is what was issued: results come from the latest version of each report, never from a value that is
still on hold.
"""

from __future__ import annotations

from tracker.errors import NotFound
from tracker.lookups.exports import events, fields, hay, lots
from tracker.lookups.exports.table import Column, Table

TABLES: dict[str, Table] = {
    one.name: one
    for one in (
        lots.PRODUCERS,
        lots.FIELDS,
        lots.LOTS,
        hay.SAMPLES,
        hay.RESULTS,
        events.EVENTS,
        events.WEIGHINGS,
        events.REFUSALS,
    )
}


def table_named(name: str) -> Table:
    """The table of this name. Raises NotFound `unknown-table`."""
    if name not in TABLES:
        raise NotFound(
            "unknown-table",
            f"There is no table {name[:40]!r} to export.",
            field="table",
            remedy=f"Choose from {', '.join(TABLES)}.",
        )
    return TABLES[name]


__all__ = ["TABLES", "Column", "Table", "fields", "table_named"]
