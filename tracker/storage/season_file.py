"""The file that the program opened, and nothing else that lies at its place.

SQLite goes on writing into a file that was moved away, and makes an empty one where a file is missing; a journal left
beside another file would be played into it (sqlite.org/howtocorrupt.html). So a season that is not where
it was is left alone until it is back.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tracker.storage.faults import away


class SeasonFile:
    """path: of the season, None where it is in no file of ours."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self._known: tuple[int, int] | None = None

    def check(self) -> None:
        """Nothing, while the file is the one that was opened first. Raises Unavailable `database-away`."""
        if self.path is None or self._known is None:
            return
        found = _file_at(self.path)
        if found is None:
            raise away("The season could not be reached: its file is not where it was.")
        if found != self._known:
            raise away("The season could not be reached: another file lies in its place.")

    def before(self, *_: Any) -> None:
        """A new connection is about to be opened: it must not make an empty season."""
        self.check()

    def after(self, *_: Any) -> None:
        """A connection is open: what lies at the path now is the season."""
        if self.path is not None and self._known is None:
            self._known = _file_at(self.path)


def _file_at(path: Path) -> tuple[int, int] | None:
    """What the system knows the file by, wherever it is moved on its disk."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
