"""Finding a lot, a producer or a tag by what somebody remembers of it."""

from __future__ import annotations

from flask import render_template, request

from tracker.lookups.search import MOST_SHOWN, search
from tracker.web.office.door import door
from tracker.web.shared.access import STAFF, for_roles
from tracker.web.shared.season import reading


@door.get("/search")
@for_roles(*STAFF)
def found() -> str:
    """What fits the words asked for."""
    words = request.args.get("words", "").strip()[:200]
    with reading() as session:
        fits = search(session, words)
    return render_template("search.html", words=words, found=fits, most=MOST_SHOWN)
