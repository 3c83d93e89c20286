"""What a phone is told of its entries: the first answer of each, told again the same way for ever."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tracker.domain.field_entry import DUPLICATE, REFUSED
from tracker.domain.times import utc
from tracker.errors import TrackerError
from tracker.storage.field import FieldAnswer, FieldEntry


@dataclass(frozen=True)
class Answer:
    """What the phone is told of one entry. received_at: when the office first had it."""

    event_id: str | None
    answer: str
    received_at: datetime
    code: str | None = None
    words: str | None = None
    field: str | None = None
    remedy: str | None = None
    made: dict[str, Any] | None = None
    contested: bool = False
    notices: tuple[str, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """Plain values, the time as RFC 3339 with milliseconds."""
        return {
            **vars(self),
            "received_at": utc(self.received_at).isoformat(timespec="milliseconds"),
            "notices": list(self.notices),
        }


def refusal(event_id: str | None, refused: TrackerError, now: datetime) -> Answer:
    """What is told of an entry that could not even be kept."""
    return Answer(
        event_id,
        REFUSED,
        now,
        code=refused.code,
        words=refused.message,
        field=refused.field,
        remedy=refused.remedy,
    )


def told_again(row: FieldEntry, first: FieldAnswer) -> Answer:
    """The first answer, to an entry that was sent once more."""
    return told(row, first, DUPLICATE)


def told(row: FieldEntry, answer: FieldAnswer, word: str) -> Answer:
    """An answer as it is kept; word: accepted, refused or duplicate."""
    return Answer(
        row.event_id,
        word,
        row.received_at,
        code=answer.code,
        words=answer.words,
        field=answer.field,
        remedy=answer.remedy,
        made=answer.made,
        contested=answer.contested,
        notices=tuple(answer.notices),
    )


def answers_in(answers: Sequence[Answer]) -> dict[str, int]:
    """How many entries got which answer."""
    counted: dict[str, int] = {}
    for answer in answers:
        counted[answer.answer] = counted.get(answer.answer, 0) + 1
    return counted
