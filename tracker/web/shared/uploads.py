"""A file that somebody chose on a page."""

from __future__ import annotations

from flask import request

from tracker.errors import Refused


def uploaded() -> tuple[str, bytes]:
    """The file's own name without folders, and its bytes. Raises Refused `no-file`."""
    file = request.files.get("file")
    if file is None or not file.filename:
        raise Refused(
            "no-file", "No file was chosen.", field="file", remedy="Choose the file, then look at it."
        )
    return file.filename.replace("\\", "/").rsplit("/", 1)[-1][:200], file.read()
