"""One text for one value: JSON with sorted names and no spaces (RFC 8785), as what is hashed and signed is written.

Numbers with digits are text in this house, so floats are refused and the number forms of RFC 8785, 3.2.2.3 are
never needed; what is left of it is written by the standard library.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

# Beyond it not every reader of JSON has the same number (RFC 8785, 3.2.2.3; RFC 7493, 2.2).
LARGEST_INTEGER = 2**53 - 1
_WRITER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


def canonical(value: Any) -> bytes:
    """The value's one text in UTF-8, its names in the order of their UTF-16 code units.

    Raises TypeError for a float or anything JSON has no word for, ValueError for an integer beyond 2^53 - 1 and
    for half a surrogate pair.
    """
    return _WRITER.encode(_ordered(value)).encode("utf-8")


def composed(value: Any) -> Any:
    """The value with all text in Unicode's form C, so that one word typed on two devices is one text."""
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, Mapping):
        return {composed(name): composed(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [composed(part) for part in value]
    return value


def _ordered(value: Any) -> Any:
    # Nearly all of a log is text in lists and mappings, so those are asked for first.
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if kind is list or isinstance(value, (list, tuple)):
        return [part if type(part) is str else _ordered(part) for part in value]
    if kind is dict or isinstance(value, Mapping):
        return {name: _ordered(value[name]) for name in _sorted(value)}
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        if abs(value) > LARGEST_INTEGER:
            raise ValueError(f"{value} is no number that every reader has")
        return value
    raise TypeError(f"{value!r} has no one text; numbers with digits are kept as text")


def _sorted(names: Iterable[Any]) -> list[str]:
    if not all(isinstance(name, str) for name in names):
        raise TypeError("the names of a mapping are text")
    found = sorted(names)
    return found if all(name.isascii() for name in found) else sorted(found, key=_by_units)


def _by_units(name: str) -> bytes:
    return name.encode("utf-16-be")
