"""What a phone may send: the kinds of entry, and how the gaps in a phone's own count are found.

An entry's id is made on the phone, in order of time (RFC 9562, version 7). No rule reads the time out of it: that
is the phone's clock again.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from tracker.errors import Refused

MARKER = "hay-field-1"
MOST_ENTRIES = 50
KINDS = (
    "register lot",
    "plan coring",
    "core lot",
    "bag cores",
    "seal bag",
    "photo",
    "hand over",
    "receive",
    "store",
    "take out",
    "void tag",
    "replace tag",
    "count in",
    "note",
)
ACCEPTED, DUPLICATE, REFUSED, LATER = "accepted", "duplicate", "refused", "later"
PHONE, PAPER = "phone", "paper"

# Why fewer or other cores were taken, for a person with gloves to tap; anything else is typed.
DEVIATIONS = (
    "could not be reached",
    "too hot to core",
    "wet or mouldy",
    "bale broken or fed already",
    "stack not safe to climb",
    "probe would not go in",
    "fewer bales here than registered",
)

_UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", re.ASCII)


def read_event_id(text: str) -> str:
    """The entry's id, in small letters. Raises Refused `entry-id`."""
    wanted = text.strip().lower()
    if not _UUID7.fullmatch(wanted):
        raise Refused(
            "entry-id",
            f"{text[:60]!r} is not an id that a phone makes for an entry.",
            field="event_id",
            remedy="Enter it anew on the phone; the entry gets an id of its own.",
        )
    return wanted


def read_kind(text: str) -> str:
    """A kind of entry known here. Raises Refused `unknown-entry-kind`."""
    if text not in KINDS:
        raise Refused(
            "unknown-entry-kind",
            f"{text[:60]!r} is not a kind of entry.",
            field="kind",
            remedy=f"Known are: {', '.join(KINDS)}. Open the field pages again, so that they are the newest.",
        )
    return text


def missing(counted: Iterable[int]) -> tuple[tuple[int, int], ...]:
    """The stretches of a phone's count that never came, first and last number of each; the count begins at 1.

    missing([1, 2, 4]) is ((3, 3),): one entry was made on the phone and the office has not seen it.
    """
    found, expected = [], 1
    for number in sorted(set(counted)):
        if number > expected:
            found.append((expected, number - 1))
        expected = max(expected, number + 1)
    return tuple(found)


def used_twice(counted: Iterable[int]) -> tuple[int, ...]:
    """The numbers that a phone used for more than one entry: it was set back, or two phones share one name."""
    return tuple(sorted(number for number, times in Counter(counted).items() if times > 1))
