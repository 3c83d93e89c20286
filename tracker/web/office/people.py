"""The people of the programme, and who of them may sign in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import (
    current_app,
    flash,
    redirect,
    render_template,
    request,
    url_for,
)

from tracker.domain.custody import ROLES
from tracker.lookups.access import accounts, comings
from tracker.lookups.lots import parties
from tracker.steps.add_people import add_party
from tracker.steps.note_access import LET_IN, LINK_MADE, SHUT_OUT, note_access
from tracker.steps.sign_in import (
    make_account,
    make_reset,
    set_active,
)
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.noted import here
from tracker.web.shared.season import acting, reading, settings

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.domain.custody import Act


@door.get("/people")
@for_roles(*LEAD)
def people() -> str:
    """Everyone of the programme, and who may sign in."""
    with reading() as found_in:
        known, everyone = accounts(found_in), parties(found_in)
    with_account = {account.key for account in known}
    without = [one for one in everyone if one.kind == "person" and one.key not in with_account]
    return render_template("people.html", accounts=known, without=without, roles=ROLES)


@door.post("/people")
@for_roles(*LEAD)
def people_added() -> Any:
    """Take a person in and invite him."""
    form = request.form
    with acting("add person") as (doing, act):
        add_party(
            doing, key=form.get("key", ""), name=form.get("name", ""), role=form.get("role", ""), now=act.now
        )
        token = make_account(doing, form["key"], act.by.key, act.now)
        _link_noted(doing, act, form["key"])
    return _link_told(token, form.get("name", ""))


@door.post("/people/<key>/invite")
@for_roles(*LEAD)
def invited(key: str) -> Any:
    """Invite somebody the programme knows."""
    with acting("invite") as (doing, act):
        token = make_account(doing, key, act.by.key, act.now)
        _link_noted(doing, act, key)
    return _link_told(token, key)


@door.post("/people/<key>/reset")
@for_roles(*LEAD)
def reset(key: str) -> Any:
    """A link by which somebody sets a new password."""
    with acting("reset link") as (doing, act):
        token = make_reset(doing, key, act.by.key, act.now)
        _link_noted(doing, act, key)
    return _link_told(token, key)


@door.post("/people/<key>/active")
@for_roles(*LEAD)
def active(key: str) -> Any:
    """Let somebody in again, or no more."""
    wanted = request.form.get("active") == "yes"
    with acting("let in" if wanted else "shut out") as (doing, act):
        set_active(doing, key, wanted, act.now)
        note_access(doing, act.now, LET_IN if wanted else SHUT_OUT, key, here(), f"by {act.by.key}")
    flash(f"{key} {'may sign in again' if wanted else 'is signed out and may not sign in'}.", "good")
    return redirect(url_for("office.people"), 303)


@door.get("/people/comings")
@for_roles(*LEAD)
def comings_page() -> str:
    """Who came in, went out and was turned away."""
    with reading() as found_in:
        found = comings(found_in)
    return render_template("comings.html", comings=found)


def _link_noted(doing: Session, act: Act, key: str) -> None:
    note_access(doing, act.now, LINK_MADE, key, here(), f"by {act.by.key}")


def _link_told(token: str, name: str) -> str:
    base, secure = settings().base_url, bool(current_app.config["SESSION_COOKIE_SECURE"])
    # Where people come by http although the tags say https, the tags' address would not open.
    base = base if base.lower().startswith("https://") == secure else request.host_url
    address = base.rstrip("/") + url_for("office.link_page", token=token)
    return render_template("link_told.html", address=address, name=name)
