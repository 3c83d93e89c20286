"""Where a page of a list begins, in its address."""

from __future__ import annotations

import json

from flask import request

from tracker.lookups.page import Key, not_a_cursor


def asked_after() -> Key:
    """The key that the address begins after; () at the beginning. Raises Refused `not-a-cursor`."""
    words = request.values.get("after", "")
    if not words:
        return ()
    try:
        key = json.loads(words)
    except (ValueError, RecursionError):
        raise not_a_cursor() from None
    if not isinstance(key, list) or not all(type(part) in (int, str) for part in key):
        raise not_a_cursor()
    return tuple(key)


def told_after(key: Key | None) -> str | None:
    """The key as an address has it; None where nothing follows."""
    return None if key is None else json.dumps(list(key))
