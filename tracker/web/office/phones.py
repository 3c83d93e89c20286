"""The lead's view of the field: phones, what they still owe, what was refused, and tags that two bags carry."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.domain.units import whole
from tracker.lookups.contested_tags import contest_of, contested_tags
from tracker.lookups.find import sample_numbered
from tracker.lookups.phones import phones, refused_entries, waiting_for_others
from tracker.steps.settle_tag import settle_tag
from tracker.web.office.door import door
from tracker.web.shared.access import LAB, LEAD, for_roles
from tracker.web.shared.season import acting, now, reading


@door.get("/phones")
@for_roles(*LEAD)
def phones_page() -> str:
    """Each phone with its last contact, the gaps in its count and its clock; then what waits for a person."""
    with reading() as session:
        found, waiting = phones(session), waiting_for_others(session)
        refused, contested = refused_entries(session), contested_tags(session)
    return render_template(
        "phones.html", phones=found, waiting=waiting, refused=refused, contested=contested, now=now()
    )


@door.get("/tags/contested/<code>")
@for_roles(*LAB)
def contested(code: str) -> str:
    """The bags that carry one tag, and the decision."""
    with reading() as session:
        found = contest_of(session, code)
    return render_template("contested.html", contest=found)


@door.post("/tags/contested/<code>")
@for_roles(*LAB)
def settled(code: str) -> Any:
    """Decide which bag keeps the tag."""
    form = request.form
    keeps = whole(form.get("keeps") or "", field="keeps", least=1)
    with acting("settle tag") as (session, act):
        others = [claim.sample for claim in contest_of(session, code).claims if claim.sample != keeps]
        fresh = [form.get(f"fresh-{sample}", "") for sample in sorted(others)]
        sample = sample_numbered(session, keeps)
        settle_tag(session, code, sample, fresh, act, reason=form.get("reason", ""))
    flash(f"Lot {sample.lot_id} keeps the tag; the other bag carries its fresh one.", "good")
    return redirect(url_for("scan.way", text=code), 303)
