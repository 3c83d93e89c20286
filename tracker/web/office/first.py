"""The first page: what waits where, and what whoever is here may do."""

from __future__ import annotations

from flask import render_template

from tracker.lookups.bench_queue import waiting
from tracker.web.office.door import door
from tracker.web.shared.access import STAFF, for_roles
from tracker.web.shared.season import now, reading


@door.get("/")
@for_roles(*STAFF)
def first_page() -> str:
    """What waits where, and the acts of whoever is here."""
    with reading() as found_in:
        found = waiting(found_in)
    counts: dict[str, int] = {}
    for one in found:
        counts[one.waits_for] = counts.get(one.waits_for, 0) + 1
    return render_template("first.html", waiting=found, counts=counts, now=now())
