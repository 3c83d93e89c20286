"""Files on their way in: base64 within JSON, so that what belongs to them is in the same body."""

from __future__ import annotations

import binascii
from base64 import b64decode

from marshmallow import fields, validate

from tracker.errors import Refused
from tracker.web.api.entry import Doing
from tracker.web.api.fields import text

# Two thirds of what a request may hold: base64 takes a third more.
MOST_CHARACTERS = 18_000_000


def base64(words: str) -> fields.String:
    """A file's bytes as RFC 4648 writes them."""
    return fields.String(
        required=True,
        validate=[validate.Length(max=MOST_CHARACTERS), validate.Regexp(r"^[A-Za-z0-9+/]*={0,2}$")],
        metadata={"description": f"{words} in base64", "contentEncoding": "base64"},
    )


class Table(Doing):
    """A list from a spreadsheet."""

    name = text("the file's name, which says by its end what it is")
    content = base64("the bytes of a CSV or XLSX file,")
    sheet = text("which sheet of a workbook, if not the first", needed=False, most=60)


def bytes_in(content: str) -> bytes:
    """The bytes. Raises Refused `not-base64`."""
    try:
        return b64decode(content, validate=True)
    except binascii.Error:
        raise Refused(
            "not-base64",
            "The content is not base64.",
            field="content",
            remedy="Encode the file's bytes as RFC 4648 says.",
        ) from None
