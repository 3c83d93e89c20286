"""What a message to a producer says: that there is something to see, where, and how to stop these. No results.

One when the results are ready, one when there will be none, one when a report is replaced by another; none between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

READY, REPLACED, REFUSED = "ready", "replaced", "refused"
KINDS = (READY, REPLACED, REFUSED)


@dataclass(frozen=True)
class Due:
    """A message that somebody should get. about: the report's number, or the state that ended the sample.

    hay: field, cutting and day of harvest; words, to_do: what is and what to do, of a refused sample.
    """

    producer: int
    sample: int
    lot: int
    kind: str
    about: str
    attempt: int
    address: str
    hay: str
    words: str = ""
    to_do: str = ""


def subject(kind: str) -> str:
    """The line that is seen before anything is opened; it tells nothing about the hay."""
    return {
        READY: "Your hay test is ready",
        REPLACED: "Your hay test has a new report",
        REFUSED: "Your hay sample cannot be tested",
    }[kind]


def lines(due: Due, link: str, until: date, programme: str, phone: str) -> tuple[str, ...]:
    """The message, line by line."""
    call = f"{programme}, {phone}" if phone else programme
    return (
        *_told(due),
        "",
        f"Hay: {due.hay}",
        "",
        link,
        "",
        f"The link opens until {until:%B} {until.day}, {until.year}. Your stub opens the same page.",
        "Who has this link can see the results. Please keep it to yourself.",
        "",
        f"Questions? Call {call}.",
        "",
        "No more of these? Open this page and press Stop. Or answer with the word STOP.",
        stop_address(link),
    )


def _told(due: Due) -> Sequence[str]:
    if due.kind == REFUSED:
        return (due.words, due.to_do, "This page says the same:")
    if due.kind == REPLACED:
        return ("A new report replaces the one you had.", "Please use the new one. This page shows it:")
    return ("Your hay test is ready.", "This page shows what it means for your animals:")


def stop_address(link: str) -> str:
    """The page behind a link at which its messages are stopped."""
    return f"{link}/messages"
