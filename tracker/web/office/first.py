"""The first page: what waits where, and what whoever is here may do."""

from __future__ import annotations

from flask import render_template

from tracker.lookups.bench_queue import how_many_wait, waiting
from tracker.lookups.contested_tags import contested_tags
from tracker.lookups.phones import refused_entries, waiting_for_others
from tracker.web.office.door import door
from tracker.web.shared.access import STAFF, for_roles
from tracker.web.shared.season import now, reading

# A person reads so many lines; each station's page has its own, and `tracker waiting` all of them.
SHOWN = 100


@door.get("/")
@for_roles(*STAFF)
def first_page() -> str:
    """What waits where, and the acts of whoever is here."""
    with reading() as found_in:
        counts, found = how_many_wait(found_in), waiting(found_in, most=SHOWN)
        contested = len(contested_tags(found_in))
        refused = [one for one in refused_entries(found_in) if not one.fixed]
        unsettled = len(refused) + len(waiting_for_others(found_in))
    return render_template(
        "first.html", waiting=found, counts=counts, contested=contested, unsettled=unsettled, now=now()
    )
