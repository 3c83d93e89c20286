"""Producers from a table: who owns the hay and how to reach them, every complaint with its line and column."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

from tracker.errors import Refused
from tracker.files.columns import columns_of
from tracker.files.table import Row, Table

NEEDED = ("name",)
OPTIONAL = ("place", "phone", "email")
LONGEST = 200


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
    if row.problem is not None:
        broken = row.problem
        complaint = Refused(broken.code, broken.words, line=row.line, remedy=broken.suggestion)
        return ProducerRow(row.line, row.cells, {}, complaint)
    texts = (" ".join(unicodedata.normalize("NFC", cell).split()) for cell in row.cells)
    values = dict(zip(names, texts, strict=True))
    return ProducerRow(row.line, row.cells, values, _wrong(values, row.line))


def _wrong(values: dict[str, str], line: int) -> Refused | None:
    for name, text in values.items():
        if len(text) > LONGEST:
            words = f"{name} has {len(text)} characters; the most is {LONGEST}."
            return Refused("cell-too-long", words, field=name, line=line, remedy="Shorten it.")
    if not values["name"]:
        return Refused("cell-empty", "name is empty.", field="name", line=line, remedy="Fill it in.")
    email = values.get("email", "")
    if email and (email.count("@") != 1 or email.startswith("@") or email.endswith("@") or " " in email):
        return Refused(
            "not-an-address",
            f"{email!r} is no address for messages.",
            field="email",
            line=line,
            remedy="Write it like name@place.example, or leave it empty.",
        )
    return None
