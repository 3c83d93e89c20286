"""The columns of a list, told by name in any order, case and spacing, and its cells as plain words."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence

from tracker.errors import Refused
from tracker.files.table import Row

LONGEST = 200


def columns_of(
    header: Sequence[str], needed: Sequence[str], optional: Sequence[str], what: str
) -> tuple[str, ...]:
    """The header's names as they are asked for; what: the list, like "list of lots".

    Raises Refused `columns-missing` or `columns-unknown` when the table is no such list.
    """
    names = tuple("_".join(name.lower().replace("-", " ").replace("_", " ").split()) for name in header)
    missing = [name for name in needed if name not in names]
    unknown = [shown for shown, name in zip(header, names, strict=True) if name not in (*needed, *optional)]
    if missing:
        raise Refused(
            "columns-missing",
            f"The header lacks {', '.join(missing)}.",
            line=1,
            remedy=f"A {what} needs: {', '.join(needed)}.",
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if unknown or twice:
        raise Refused(
            "columns-unknown",
            f"These columns cannot be placed: {', '.join(unknown or twice)}.",
            line=1,
            remedy=f"Remove or rename them; a {what} may also have: {', '.join(optional)}.",
        )
    return names


def cells_of(row: Row, names: Sequence[str]) -> dict[str, str]:
    """The row's cells by column, in one spacing.

    Raises Refused with what is wrong with the row itself.
    """
    if row.problem is not None:
        broken = row.problem
        raise Refused(broken.code, broken.words, line=row.line, remedy=broken.suggestion)
    return dict(zip(names, map(in_one_spacing, row.cells), strict=True))


def in_one_spacing(text: str) -> str:
    """Composed letters (NFC) and one space between words."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def check_words(values: Mapping[str, str], needed: Sequence[str]) -> None:
    """Nothing, if what is needed is filled in and nothing is too long.

    Raises Refused `cell-too-long`, `cell-empty`.
    """
    for name, text in values.items():
        if len(text) > LONGEST:
            words = f"{name} has {len(text)} characters; the most is {LONGEST}."
            raise Refused("cell-too-long", words, field=name, remedy="Shorten it.")
    for name in needed:
        if not values[name]:
            raise Refused("cell-empty", f"{name} is empty.", field=name, remedy="Fill it in.")
