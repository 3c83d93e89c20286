"""Signing in and out, and the links by which a person sets a password."""

from __future__ import annotations

from typing import Any

from flask import (
    current_app,
    flash,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)

from tracker.errors import Refused
from tracker.lookups.access import is_ours
from tracker.steps.note_access import (
    NOT_LET_IN,
    PASSWORD_SET,
    SIGNED_IN,
    SIGNED_OUT,
    WRONG_CODE,
    note_access,
)
from tracker.steps.second_factor import WrongCode
from tracker.steps.sign_in import attempts_as, sign_in, sign_out, use_link
from tracker.web.office.door import door
from tracker.web.shared.access import EVERYONE, STAFF, for_roles, person, without_factor
from tracker.web.shared.back import own
from tracker.web.shared.guard import cookie_name
from tracker.web.shared.noted import noted
from tracker.web.shared.season import now, reading, season
from tracker.web.shared.tries import count_try, refuse_too_many

SHIFT_SECONDS = 12 * 3600


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
    count_try(
        "sign in", {f"{attempts_as(key)} from {here}": 10, attempts_as(key): 100, f"sign in from {here}": 60}
    )
    codes = {f"{attempts_as(key)} code": 10}
    refuse_too_many(codes)
    try:
        with season().act("sign in", "", {"from": here}) as doing:
            token = sign_in(
                doing,
                key,
                password,
                now(),
                code=request.form.get("code", ""),
                key=str(current_app.secret_key),
            )
            # Whoever was signed in on this device before is so no more.
            sign_out(doing, request.cookies.get(cookie_name(), ""), now())
            note_access(doing, now(), SIGNED_IN, key, here)
    except WrongCode:
        # Whoever comes so far knows the password; his tries are counted wherever he tries from.
        _refused(key, WRONG_CODE)
        count_try("sign in", codes)
        raise
    except Refused:
        _refused(key, NOT_LET_IN)
        raise
    then = own(session.get("then"), url_for("office.first_page"))
    session.clear()
    answer = make_response(redirect(then, 303))
    secure = bool(current_app.config["SESSION_COOKIE_SECURE"])
    answer.set_cookie(
        cookie_name(), token, max_age=SHIFT_SECONDS, httponly=True, secure=secure, samesite="Lax"
    )
    return answer


def _refused(name: str, why: str) -> None:
    """Note a refusal; of what was typed as a name only that it is one of ours."""
    with reading() as found_in:
        ours = is_ours(found_in, name)
    noted(why, who=name if ours else "")


@door.post("/sign-out")
@for_roles(*STAFF)
@without_factor
def sign_out_now() -> Any:
    """End this sign-in on the server and on the device."""
    token = request.cookies.get(cookie_name(), "")
    with season().act("sign out", person().key, {}) as doing:
        sign_out(doing, token, now())
        note_access(doing, now(), SIGNED_OUT, person().key, str(request.remote_addr))
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
    count_try("link", {f"link from {request.remote_addr}": 30})
    with season().act("set a password", "", {"from": str(request.remote_addr)}) as doing:
        key = use_link(doing, token, request.form.get("password", ""), now())
        note_access(doing, now(), PASSWORD_SET, key, str(request.remote_addr))
    flash(f"The password is set. Your name here is {key}.", "good")
    return redirect(url_for("office.sign_in_page"), 303)
