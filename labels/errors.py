"""What the package raises at the person who asked."""

from __future__ import annotations


class LabelError(ValueError):
    """A complaint a person can act on.

    code     short, lower case, hyphened
    message  what is wrong, naming the value
    remedy   what to do about it
    field    the name of the value complained about, if it is one
    """

    def __init__(self, code: str, message: str, *, remedy: str, field: str | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.remedy = remedy
        self.field = field

    def __str__(self) -> str:
        where = f"{self.field}: " if self.field else ""
        return f"{where}{self.message} {self.remedy}"
