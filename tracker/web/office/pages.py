"""The office: signing in, the first page, and the people of the programme."""

from __future__ import annotations

from typing import Any

from flask import (
    Blueprint,
    current_app,
    flash,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)

from tracker.domain.custody import ROLES
from tracker.lookups.access import accounts
from tracker.lookups.bench_queue import waiting
from tracker.lookups.lots import parties
from tracker.steps.add_people import add_party
from tracker.steps.sign_in import (
    attempts_as,
    make_account,
    make_reset,
    note_attempt,
    refuse_if_tried_too_often,
    set_active,
    sign_in,
    sign_out,
    use_link,
)
from tracker.web.shared.access import EVERYONE, LEAD, STAFF, for_roles, person
from tracker.web.shared.back import own
from tracker.web.shared.guard import cookie_name
from tracker.web.shared.season import acting, now, reading, season, settings

door = Blueprint("office", __name__, template_folder="templates")
SHIFT_SECONDS = 12 * 3600


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


@door.get("/sign-in")
@for_roles(*EVERYONE)
def sign_in_page() -> str:
    """The form to sign in."""
    return render_template("sign_in.html", quiet=True)


@door.post("/sign-in")
@for_roles(*EVERYONE)
def sign_in_now() -> Any:
    """Sign in, and go where the person wanted to go."""
    key, password = request.form.get("name", "").strip().lower(), request.form.get("password", "")
    here = str(request.remote_addr)
    # The name alone is counted more generously, or a stranger could shut anybody out from where he sits.
    _count_try(
        "sign in", {f"{attempts_as(key)} from {here}": 10, attempts_as(key): 100, f"sign in from {here}": 60}
    )
    with season().act("sign in", "", {"from": here}) as doing:
        token = sign_in(doing, key, password, now())
        # Whoever was signed in on this device before is so no more.
        sign_out(doing, request.cookies.get(cookie_name(), ""), now())
    then = own(session.get("then"), url_for("office.first_page"))
    session.clear()
    answer = make_response(redirect(then, 303))
    secure = bool(current_app.config["SESSION_COOKIE_SECURE"])
    answer.set_cookie(
        cookie_name(), token, max_age=SHIFT_SECONDS, httponly=True, secure=secure, samesite="Lax"
    )
    return answer


def _count_try(name: str, tries: dict[str, int]) -> None:
    """Count a try under each key, whatever becomes of it; one too many is refused, and not even kept."""
    with reading() as found_in:
        for key, most in tries.items():
            refuse_if_tried_too_often(found_in, key, now(), most)
    with season().act(name, "", {}) as counting:
        for key, most in tries.items():
            note_attempt(counting, key, now(), most)


@door.post("/sign-out")
@for_roles(*STAFF)
def sign_out_now() -> Any:
    """End this sign-in on the server and on the device."""
    token = request.cookies.get(cookie_name(), "")
    with season().act("sign out", person().key, {}) as doing:
        sign_out(doing, token, now())
    session.clear()
    answer = make_response(redirect(url_for("office.sign_in_page"), 303))
    secure = bool(current_app.config["SESSION_COOKIE_SECURE"])
    answer.delete_cookie(cookie_name(), secure=secure, httponly=True, samesite="Lax")
    return answer


@door.get("/link/<token>")
@for_roles(*EVERYONE)
def link_page(token: str) -> str:
    """The form behind an invitation or a reset; opening it uses nothing up."""
    return render_template("link.html", token=token, quiet=True)


@door.post("/link/<token>")
@for_roles(*EVERYONE)
def link_used(token: str) -> Any:
    """Set the password by the link, once."""
    _count_try("link", {f"link from {request.remote_addr}": 30})
    with season().act("set a password", "", {"from": str(request.remote_addr)}) as doing:
        key = use_link(doing, token, request.form.get("password", ""), now())
    flash(f"The password is set. Your name here is {key}.", "good")
    return redirect(url_for("office.sign_in_page"), 303)


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
    return _link_told(token, form.get("name", ""))


@door.post("/people/<key>/invite")
@for_roles(*LEAD)
def invited(key: str) -> Any:
    """Invite somebody the programme knows."""
    with acting("invite") as (doing, act):
        token = make_account(doing, key, act.by.key, act.now)
    return _link_told(token, key)


@door.post("/people/<key>/reset")
@for_roles(*LEAD)
def reset(key: str) -> Any:
    """A link by which somebody sets a new password."""
    with acting("reset link") as (doing, act):
        token = make_reset(doing, key, act.by.key, act.now)
    return _link_told(token, key)


@door.post("/people/<key>/active")
@for_roles(*LEAD)
def active(key: str) -> Any:
    """Let somebody in again, or no more."""
    wanted = request.form.get("active") == "yes"
    with acting("let in" if wanted else "shut out") as (doing, act):
        set_active(doing, key, wanted, act.now)
    flash(f"{key} {'may sign in again' if wanted else 'is signed out and may not sign in'}.", "good")
    return redirect(url_for("office.people"), 303)


def _link_told(token: str, name: str) -> str:
    base, secure = settings().base_url, bool(current_app.config["SESSION_COOKIE_SECURE"])
    # Where people come by http although the tags say https, the tags' address would not open.
    base = base if base.lower().startswith("https://") == secure else request.host_url
    address = base.rstrip("/") + url_for("office.link_page", token=token)
    return render_template("link_told.html", address=address, name=name)
