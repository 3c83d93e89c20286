"""What any room may raise at the person who asked.

Every complaint carries a short code (a heading in docs/refusals.md), the field or line it is about, and a
remedy: what to do next, in words the person at the stack or the bench would use.
"""

from __future__ import annotations

from typing import Any


class TrackerError(Exception):
    """A complaint a person can act on.

    code     short, lower case, hyphened; the heading under which docs/refusals.md explains it
    message  what is wrong, naming the value
    remedy   what to do about it
    field    the name of the field complained about, if it is one field
    line     the line number in a file (the header is line 1), if it came from a file
    """

    def __init__(
        self, code: str, message: str, *, remedy: str, field: str | None = None, line: int | None = None
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.remedy = remedy
        self.field = field
        self.line = line

    def __str__(self) -> str:
        where = ""
        if self.line is not None:
            where += f"line {self.line}: "
        if self.field is not None:
            where += f"{self.field}: "
        return f"{where}{self.message} {self.remedy}".strip()

    def as_dict(self) -> dict[str, Any]:
        """The complaint as plain values, for --json and for the kept refusal."""
        return {
            "code": self.code,
            "message": self.message,
            "remedy": self.remedy,
            "field": self.field,
            "line": self.line,
        }


class Refused(TrackerError):
    """What was asked cannot be true, or the rules do not allow it."""


class NotFound(TrackerError):
    """What was named is not known here."""


class Conflict(TrackerError):
    """Somebody else was first, or the record has moved on since it was read."""


class Unavailable(TrackerError):
    """The season itself cannot be asked or written just now; nothing was recorded, and later it may be."""
