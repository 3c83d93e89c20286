"""The time of an entry made on a phone: what the phone's clock said, put right by what the office knows of it.

A phone's clock is often wrong and the person cannot help it: of browsers that reported certificate errors 6.7 %
were more than a day slow (Acer and others, Where the wild warnings are, 2017). So no entry is refused for its
clock. The phone's own time is kept beside the one that counts, and where they differ it is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tracker.domain.times import duration_said

# Our choice: people do not notice two minutes; a day off is no clock that anybody looks at.
UNNOTICED, BADLY_WRONG = timedelta(minutes=2), timedelta(hours=24)
# How far an entry may be moved among its sample's others where the phone's clock is known: two clocks that were
# compared over a slow line agree to within this (our choice).
REACH = timedelta(minutes=15)

# No phone that can send is older; a clock that lost its battery often says 1970.
FIRST_YEAR = 2000

COMPARED, AT_SENDING, NEVER, ON_PAPER = "compared", "at sending", "never compared", "on paper"


@dataclass(frozen=True)
class ClockReading:
    """What came with an entry.

    device_time: the phone's clock, with its offset from UTC; offset_ms: the office's clock less the phone's, as
    the phone knew it then, None if it never did; jumped: the phone's clock was changed between that and the entry;
    sent_at: the phone's clock as it sent, None for a file that was carried here; paper_at: the time written on
    paper; received: the office's clock.
    """

    device_time: datetime
    received: datetime
    offset_ms: int | None = None
    jumped: bool = False
    sent_at: datetime | None = None
    paper_at: datetime | None = None


@dataclass(frozen=True)
class Corrected:
    """The time that counts, never later than the office heard of it; at the phone's own offset from UTC.

    basis: how it was found. slow: how far the phone's clock is behind the office's, less than nothing when it is
    ahead, None where nobody knows. doubted: a person should look at the phone. words: what is to be said of it.
    """

    at: datetime
    basis: str
    slow: timedelta | None
    doubted: bool
    words: str

    @property
    def reach(self) -> timedelta | None:
        """How far the entry may be moved to where it makes sense; None for as far as it takes."""
        return REACH if self.basis in (COMPARED, AT_SENDING) and not self.doubted else None


def corrected(read: ClockReading) -> Corrected:
    """The time of the entry.

    The phone's own comparison counts while its clock was not changed since; else the one made by its sending; a
    file from a phone that was never compared keeps the phone's time. Nothing happened after it was heard of.
    """
    try:
        found = _corrected(read)
    except OverflowError:
        return _no_clock(read)
    return _no_clock(read) if found.at.year < FIRST_YEAR else found


def _corrected(read: ClockReading) -> Corrected:
    if read.paper_at is not None:
        return _on_paper(read, read.paper_at)
    if read.offset_ms is not None and not read.jumped:
        slow, basis = timedelta(milliseconds=read.offset_ms), COMPARED
    elif read.sent_at is not None:
        slow, basis = read.received - read.sent_at, AT_SENDING
    else:
        return _never_compared(read)
    at = (read.device_time + slow).astimezone(read.device_time.tzinfo)
    ahead = at > read.received + UNNOTICED
    doubted = ahead or read.jumped or abs(slow) > BADLY_WRONG
    words = _slow_words(slow)
    if read.jumped:
        words = f"The phone's clock was changed after this entry, so its time is uncertain. {words}".strip()
    if ahead:
        words = f"{words} By the phone this is still to come; the time of its coming here stands.".strip()
    return Corrected(_not_after(at, read.received), basis, slow, doubted, words)


def _no_clock(read: ClockReading) -> Corrected:
    words = "The time given is none that can be; the time of its coming here stands."
    return Corrected(read.received, NEVER, None, True, words)


def _on_paper(read: ClockReading, paper_at: datetime) -> Corrected:
    ahead = paper_at > read.received + UNNOTICED
    words = "The time on the paper is still to come; the time of typing stands." if ahead else ""
    return Corrected(_not_after(paper_at, read.received), ON_PAPER, None, ahead, words)


def _never_compared(read: ClockReading) -> Corrected:
    words = "This phone's clock was never compared with the office's; its own time stands."
    at = _not_after(read.device_time, read.received)
    return Corrected(at, NEVER, None, True, words)


def _not_after(at: datetime, received: datetime) -> datetime:
    return min(at, received.astimezone(at.tzinfo))


def _slow_words(slow: timedelta) -> str:
    if abs(slow) < UNNOTICED:
        return ""
    side = "slow" if slow > timedelta(0) else "fast"
    return f"The phone's clock is {duration_said(abs(slow))} {side}; the time here is put right."
