"""For anybody with a report: a page that checks its record in the browser, the program that does, and our keys."""

from __future__ import annotations

from pathlib import Path

from flask import Blueprint, Response, render_template

from tracker import custody_check
from tracker.errors import TrackerError
from tracker.web.shared.access import EVERYONE, for_roles
from tracker.web.shared.season import season

door = Blueprint("custody", __name__, template_folder="templates")


@door.get("/custody/check")
@for_roles(*EVERYONE)
def check() -> str:
    """The page reads the file itself; nothing of it comes here."""
    return render_template("check.html", keys=_keys(), quiet=True)


@door.get("/custody/keys.txt")
@for_roles(*EVERYONE)
def keys() -> Response:
    """The log's public keys, oldest first, one a line."""
    return Response("".join(f"{one}\n" for one in _keys()), content_type="text/plain; charset=utf-8")


@door.get("/custody/custody_check.py")
@for_roles(*EVERYONE)
def program() -> Response:
    """The program that checks a record alone."""
    text = Path(custody_check.__file__).read_bytes()
    answer = Response(text, content_type="text/x-python; charset=utf-8")
    answer.headers.set("Content-Disposition", "attachment", filename="custody_check.py")
    return answer


def _keys() -> list[str]:
    """None where the key file is not at hand; the page says so."""
    file = season().key_file
    try:
        key = None if file is None else file.key()
    except TrackerError:
        key = None
    return [] if key is None else [str(one) for one in key.known]
