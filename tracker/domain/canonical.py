"""One text for one value: JSON with sorted names and no spaces (RFC 8785), as what is hashed and signed is written.

Numbers with digits are text in this house, so floats are refused and the number forms of RFC 8785, 3.2.2.3 are
never needed; what is left of it is written by the standard library.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

# Beyond it not every reader of JSON has the same number (RFC 8785, 3.2.2.3; RFC 7493, 2.2).
LARGEST_INTEGER = 2**53 - 1
_TEXT = frozenset((str,))
_WRITER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))
_SORTING = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def canonical(value: Any) -> bytes:
    """The value's one text in UTF-8, its names in the order of their UTF-16 code units.

    Raises TypeError for a float or anything JSON has no word for, ValueError for an integer beyond 2^53 - 1 and
    for half a surrogate pair.
    """
    # Nearly all of a log is of the plain kind, and the library's own sorting is several times as fast.
    text = _SORTING.encode(value) if _is_plain(value) else _WRITER.encode(_ordered(value))
    return text.encode("utf-8")


def composed(value: Any) -> Any:
    """The value with all text in Unicode's form C, so that one word typed on two devices is one text."""
    if isinstance(value, str):
        return value if value.isascii() else unicodedata.normalize("NFC", value)
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, Mapping):
        return {composed(name): composed(part) for name, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [composed(part) for part in value]
    return value


def _is_plain(value: Any) -> bool:
    """Whether JSON has a word for all of it, and its names have the same order by any rule: they are ASCII."""
    kind = type(value)
    if kind is str:
        return True
    if kind is dict:
        names = _TEXT.issuperset(map(type, value)) and all(map(str.isascii, value))
        return names and all(map(_is_plain, value.values()))
    if kind is list or kind is tuple:
        return _TEXT.issuperset(map(type, value)) or all(map(_is_plain, value))
    whole = kind is int and -LARGEST_INTEGER <= value <= LARGEST_INTEGER
    return value is None or kind is bool or whole


def _ordered(value: Any) -> Any:
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, (list, tuple)):
        return [_ordered(part) for part in value]
    if isinstance(value, Mapping):
        return {name: _ordered(value[name]) for name in _sorted(value)}
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


# Two characters for private use (Unicode, 23.5), so that a hole is taken for no word of anybody's.
_HOLE, _BARE = "\ue000", "\ue001"


def hole(name: str) -> str:
    """Where a text is filled in: what comes there must be written in JSON without an escape, as digits are."""
    return f"{_HOLE}{name}{_HOLE}"


def bare(name: str) -> str:
    """Where a whole value is filled in as JSON writes it: a number, null, or a text with its quotes."""
    return f"{_BARE}{name}{_BARE}"


class Form:
    """The one text of values that differ in a few places only, written by `canonical` once and filled in for each.

    Whoever makes one holds it against `canonical` for one of these values: words in it might look like a hole.
    """

    def __init__(self, value: Any) -> None:
        """value: with a `hole` or a `bare` wherever the values differ."""
        text = canonical(value).decode().replace("%", "%%")
        text = re.sub(f'"{_BARE}([a-z_0-9]+){_BARE}"', r"%(\1)s", text)
        self._text = re.sub(f"{_HOLE}([a-z_0-9]+){_HOLE}", r"%(\1)s", text)

    def filled(self, parts: Mapping[str, Any]) -> str:
        """The text with these parts in its holes; parts for which it has no hole are passed over."""
        return self._text % parts
