"""Producers from a table: who owns the hay and how to reach them, every complaint with its line and column."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.errors import Refused
from tracker.files.columns import cells_of, check_words, columns_of
from tracker.files.table import Row, Table

NEEDED = ("name",)
OPTIONAL = ("place", "phone", "email")


@dataclass(frozen=True)
class ProducerRow:
    """One line of the file: a producer's values by column, or what is wrong, and its cells as written either way."""

    line: int
    cells: tuple[str, ...]
    values: dict[str, str]
    problem: Refused | None


def read_producers(table: Table) -> tuple[ProducerRow, ...]:
    """Each row as a producer or its complaint. Raises Refused `columns-missing` or `columns-unknown`."""
    names = columns_of(table.header, NEEDED, OPTIONAL, "list of producers")
    return tuple(_read(row, names) for row in table.rows)


def _read(row: Row, names: tuple[str, ...]) -> ProducerRow:
    try:
        values = cells_of(row, names)
        check_words(values, NEEDED)
        _check_email(values.get("email", ""))
    except Refused as refused:
        refused.line = row.line
        return ProducerRow(row.line, row.cells, {}, refused)
    return ProducerRow(row.line, row.cells, values, None)


def _check_email(email: str) -> None:
    if email and (email.count("@") != 1 or email.startswith("@") or email.endswith("@") or " " in email):
        raise Refused(
            "not-an-address",
            f"{email!r} is no address for messages.",
            field="email",
            remedy="Write it like name@place.example, or leave it empty.",
        )
