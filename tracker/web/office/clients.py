"""Programs that talk to the office: which there are, letting one in, and ending it."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.domain.client_scopes import SCOPES
from tracker.lookups.clients import clients
from tracker.lookups.lots import parties
from tracker.steps.make_client import make_client, revoke_client
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.noted import here
from tracker.web.shared.season import acting, reading


@door.get("/programs")
@for_roles(*LEAD)
def clients_page() -> str:
    """The programs, whom each acts for, and what it may do."""
    with reading() as session:
        known, people = clients(session), [one for one in parties(session) if one.kind == "person"]
    return render_template("clients.html", clients=known, people=people, scopes=SCOPES)


@door.post("/programs")
@for_roles(*LEAD)
def client_made() -> str:
    """Let a program in, and show its token this once."""
    form = request.form
    with acting("let a program in") as (session, act):
        row, token = make_client(
            session,
            form.get("name", ""),
            form.get("party", ""),
            form.getlist("scope"),
            act,
            place=here(),
        )
    return render_template("token_told.html", token=token, name=row.name)


@door.post("/programs/revoke")
@for_roles(*LEAD)
def client_revoked() -> Any:
    """End a program's token for ever."""
    form = request.form
    with acting("shut a program out") as (session, act):
        revoke_client(session, form.get("name", ""), act, reason=form.get("reason", ""), place=here())
    flash(f"The token of {form['name']} opens nothing from now on.", "good")
    return redirect(url_for("office.clients_page"), 303)
