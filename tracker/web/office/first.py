"""The first page: what waits where, and what whoever is here may do."""

from __future__ import annotations

from flask import render_template

from tracker.lookups.bench_queue import waiting
from tracker.lookups.contested_tags import contested_tags
from tracker.lookups.phones import refused_entries, waiting_for_others
from tracker.web.office.door import door
from tracker.web.shared.access import STAFF, for_roles
from tracker.web.shared.season import now, reading


@door.get("/")
@for_roles(*STAFF)
def first_page() -> str:
    """What waits where, and the acts of whoever is here."""
    with reading() as found_in:
        found = waiting(found_in)
        contested = len(contested_tags(found_in))
        refused = [one for one in refused_entries(found_in) if not one.fixed]
        unsettled = len(refused) + len(waiting_for_others(found_in))
    counts: dict[str, int] = {}
    for one in found:
        counts[one.waits_for] = counts.get(one.waits_for, 0) + 1
    return render_template(
        "first.html", waiting=found, counts=counts, contested=contested, unsettled=unsettled, now=now()
    )
