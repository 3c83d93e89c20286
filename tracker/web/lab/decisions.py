"""What the laboratory decides on a sample's way: a hold, the end of a hold, a corrected entry."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, request, url_for

from tracker.domain.units import whole
from tracker.errors import NotFound
from tracker.lookups.find import sample_ever_named
from tracker.lookups.sample_way import way_of
from tracker.steps.amend import amend
from tracker.steps.hold import hold, lift_hold
from tracker.web.lab.door import door
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.season import acting
from tracker.web.shared.told import tell


@door.post("/hold/<code>")
@for_roles(*LAB)
def held(code: str) -> Any:
    """Put the sample on hold."""
    with acting("hold") as (session, act):
        sample = _sample(session, code)
        hold(session, sample, act, reason=request.form.get("reason", ""))
    flash("It is on hold.", "good")
    return redirect(url_for("scan.way", text=code), 303)


@door.post("/lift/<code>")
@for_roles(*LAB)
def hold_lifted(code: str) -> Any:
    """Decide that it may go on."""
    with acting("lift hold") as (session, act):
        sample = _sample(session, code)
        lift_hold(session, sample, act, reason=request.form.get("reason", ""))
    flash("The hold is lifted.", "good")
    return redirect(url_for("scan.way", text=code), 303)


@door.post("/amend/<code>")
@for_roles(*LAB)
def amended(code: str) -> Any:
    """Correct one field of one entry of this sample."""
    form = request.form
    entry = whole(form.get("entry", ""), field="entry")
    with acting("amend") as (session, act):
        sample = _sample(session, code)
        if entry not in [step.number for step in way_of(session, sample).steps]:
            raise NotFound(
                "unknown-entry",
                f"There is no entry {entry} in this sample's way.",
                field="entry",
                remedy="The number stands before each entry.",
            )
        changes = {form.get("field", ""): form.get("value", "")}
        event = amend(session, entry, changes, act, reason=form.get("reason", ""))
    tell(event, f"Entry {entry} is corrected; what it said before stays to be seen.", undo=False)
    return redirect(url_for("scan.way", text=code), 303)


def _sample(session: Any, code: str) -> Any:
    """The sample, unless somebody has been there since the page was drawn."""
    sample = sample_ever_named(session, code)
    if "seen" in request.form:
        not_moved(session, sample.id, request.form["seen"])
    return sample
