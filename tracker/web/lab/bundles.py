"""A lot's bundle for whoever is to have its whole history."""

from __future__ import annotations

from flask import Response

from tracker.papers.bundled import bundle_of
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles
from tracker.web.shared.season import reading, settings


@door.get("/lots/<int:number>/bundle.zip")
@for_roles(*BENCH)
def bundle(number: int) -> Response:
    """Everything known of the lot, in open forms."""
    with reading() as session:
        content = bundle_of(session, number, settings())
    answer = Response(content, content_type="application/zip")
    answer.headers.set("Content-Disposition", "attachment", filename=f"lot-{number}.zip")
    return answer
