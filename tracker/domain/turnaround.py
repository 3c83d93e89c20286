"""When an answer is to be expected, from how long the programme's own samples took."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

# Fewer finished samples than this say nothing about the next one.
LEAST = 5


@dataclass(frozen=True)
class Turnaround:
    """How long samples took from a station to their report: half of them at most `usual`, nine of ten `slow`.

    records: how many samples that rests on.
    """

    station: str
    records: int
    usual: timedelta
    slow: timedelta


@dataclass(frozen=True)
class Expected:
    """When a sample should be ready. usual, slow: days of the office's calendar; late: slow has passed."""

    usual: date
    slow: date
    records: int
    station: str
    late: bool


def turnaround(station: str, spans: Sequence[timedelta]) -> Turnaround | None:
    """Median and 90th centile of the spans; None where there are too few."""
    if len(spans) < LEAST:
        return None
    return Turnaround(station, len(spans), ranked(spans, 50), ranked(spans, 90))


def ranked(spans: Sequence[timedelta], percent: int) -> timedelta:
    """That centile of the spans by nearest rank: the smallest that at least that share of them does not exceed.

    Each is a span that really was (ISO 3534-1 speaks of the p-quantile of a sample; the rank's definition is the
    usual one, from memory). Raises ValueError for no spans.
    """
    if not spans:
        raise ValueError("a centile needs spans")
    return sorted(spans)[rank_of(len(spans), percent) - 1]


def rank_of(count: int, percent: int) -> int:
    """Which of so many, in order and counted from 1, is that centile by nearest rank."""
    return -(-percent * count // 100)


def expected(took: Turnaround, reached: datetime, now: datetime) -> Expected:
    """When a sample that reached the station then should be ready, seen from now; no date that is past.

    Both moments are aware, and the days are those of now's offset.
    """
    usual, slow = (max(reached + span, now) for span in (took.usual, took.slow))
    return Expected(
        usual.astimezone(now.tzinfo).date(),
        slow.astimezone(now.tzinfo).date(),
        took.records,
        took.station,
        now > reached + took.slow,
    )
