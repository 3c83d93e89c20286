"""Writers of a season in one file take turns, in the order in which they came.

SQLite lets waiting writers ask again and again, and whoever asks at the right moment goes first: under load one
may wait until it gives up while others write thousands of times. So each writer draws a number at the door, and
waits for the one before. A number is a byte of a file beside the season, locked by its writer; the system lets
go of it when the writer's program ends, however it ends. What keeps the data right is still SQLite's own lock.
"""

from __future__ import annotations

import errno
import os
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl

    # Locks of an open file, not of a program: they hold between the threads of one program too. Linux has them.
    ASK: int | None = fcntl.F_OFD_SETLK
except (ImportError, AttributeError):  # pragma: no cover
    ASK = None

SUFFIX = "-turn"
# How often somebody in the queue looks whether it is his turn: soon at first, then seldom enough to cost nothing.
LOOK_FIRST, LOOK_LAST = 0.0003, 0.002
COUNTER = struct.Struct("<q")
# Numbers begin behind the counter's own bytes.
FIRST = COUNTER.size
# The layout of `struct flock`: kind, whence, start, length, pid (fcntl(2)).
FLOCK = "hhqqi4x"


class TurnDidNotCome(Exception):
    """Somebody before us did not end in time."""


@contextmanager
def turn(season: Path, patience: float) -> Iterator[None]:
    """Wait for our turn to write into the season, for at most so many seconds, and give it up at the end.

    Where the system has no such locks, or the file cannot be made, everybody may go on at once and SQLite decides.
    Raises TurnDidNotCome.
    """
    door = _open(season)
    try:
        if door is not None:
            # A full disk takes no number either; the act itself will say so in better words.
            with suppress(OSError):
                _stand_in_line(door, time.monotonic() + patience)
        yield
    finally:
        if door is not None:
            # Closing lets go of every byte of it.
            os.close(door)


def _open(season: Path) -> int | None:
    if ASK is None:
        return None
    try:
        return os.open(f"{season}{SUFFIX}", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
    except OSError:
        return None


def _stand_in_line(door: int, end: float) -> None:
    _wait(door, _draw(door, end) - 1, end)


def _draw(door: int, end: float) -> int:
    """The next number, and its byte locked, before anybody else can draw."""
    _wait(door, 0, end)
    kept = os.pread(door, COUNTER.size, 0)
    number = COUNTER.unpack(kept)[0] + 1 if len(kept) == COUNTER.size else FIRST + 1
    os.pwrite(door, COUNTER.pack(number), 0)
    if not _take(door, number):
        # Only a counter that somebody set back could lead here; whoever holds the number comes first then.
        _wait(door, number, end)
    _let_go(door, 0)
    return int(number)


def _wait(door: int, byte: int, end: float) -> None:
    pause = LOOK_FIRST
    while not _take(door, byte):
        if time.monotonic() > end:
            raise TurnDidNotCome
        time.sleep(pause)
        pause = min(LOOK_LAST, pause * 1.2)


def _take(door: int, byte: int) -> bool:
    try:
        fcntl.fcntl(door, ASK, struct.pack(FLOCK, fcntl.F_WRLCK, os.SEEK_SET, byte, 1, 0))  # type: ignore[arg-type]
    except OSError as fault:
        if fault.errno in (errno.EAGAIN, errno.EACCES):
            return False
        raise
    return True


def _let_go(door: int, byte: int) -> None:
    fcntl.fcntl(door, ASK, struct.pack(FLOCK, fcntl.F_UNLCK, os.SEEK_SET, byte, 1, 0))  # type: ignore[arg-type]
