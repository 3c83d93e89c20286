"""The columns of a list, told by name in any order, case and spacing."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.errors import Refused


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
