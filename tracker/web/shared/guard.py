"""What stands before every page: the sign-in's cookie, roles, the guard against forged forms, and headers."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from flask import Flask, Response, current_app, g, redirect, request, session, url_for
from flask_wtf.csrf import CSRFProtect

from tracker.errors import Refused, TrackerError
from tracker.lookups.access import signed_in as signed_in_by
from tracker.steps.note_access import NOT_ALLOWED
from tracker.steps.sign_in import still_here
from tracker.web.shared.access import may, may_owe, signed_in
from tracker.web.shared.noted import noted
from tracker.web.shared.season import now, reading, season

COOKIE, SAFE_COOKIE = "tracker", "__Host-tracker"
YEAR_SECONDS = 31_536_000
# Our own files only, no frames, nothing inline.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'; manifest-src 'self'"
)
csrf = CSRFProtect()


def stand(app: Flask) -> None:
    """Put the guard before and after every request of the application."""
    # Whoever it is stands first, so that the page of a refused form still knows.
    app.before_request(_who)
    csrf.init_app(app)
    app.before_request(_roles)
    app.after_request(_headers)


def cookie_name() -> str:
    """The sign-in's cookie; under https it is bound to this host alone."""
    return SAFE_COOKIE if current_app.config["SESSION_COOKIE_SECURE"] else COOKIE


def _who() -> None:
    token = request.cookies.get(cookie_name())
    g.party, g.owes_factor = None, False
    if not token or request.endpoint == "static":
        return
    with reading() as found_in:
        found = signed_in_by(found_in, token, now())
    if found is None:
        return
    g.party, g.owes_factor = found.party, found.owes_factor
    if found.stale:
        # A page is not kept from anybody because this note could not be written.
        with suppress(TrackerError), season().act("still here", found.party.key, {}) as writing:
            still_here(writing, token, now())


def _roles() -> Any:
    if request.endpoint in (None, "static"):
        return None
    view = current_app.view_functions[str(request.endpoint)]
    if may(view):
        return _factor_first(view)
    if signed_in() is None and request.method == "GET" and not getattr(view, "as_json", False):
        session["then"] = request.full_path.rstrip("?")
        return redirect(url_for("office.sign_in_page"), 303)
    if signed_in() is None:
        raise Refused(
            "sign-in-needed", "Nobody is signed in on this device.", remedy="Sign in, then do it again."
        )
    noted(NOT_ALLOWED, about=f"{request.method} {request.endpoint}")
    raise Refused(
        "not-allowed",
        "This page is not for your role.",
        remedy="Somebody with the right does it under his name.",
    )


def _factor_first(view: Any) -> Any:
    """Nothing, unless the programme wants a second factor of whoever is here and there is none yet."""
    if not g.owes_factor or may_owe(view):
        return None
    if request.method == "GET":
        return redirect(url_for("office.second_factor"), 303)
    raise Refused(
        "second-factor-needed",
        "Your sign-in needs a second factor before anything is entered.",
        remedy="Set it up first; it takes a minute with a phone.",
    )


def _headers(response: Response) -> Response:
    response.headers.setdefault("Content-Security-Policy", POLICY)
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = (
        "no-referrer" if request.path.lower().startswith(("/t/", "/link/")) else "same-origin"
    )
    response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    response.headers["Permissions-Policy"] = "camera=(self), serial=(self), geolocation=(self), microphone=()"
    if request.endpoint != "static":
        response.headers.setdefault("Cache-Control", "no-store")
    response.headers["X-Robots-Tag"] = "noindex"
    if current_app.config["SESSION_COOKIE_SECURE"]:
        response.headers["Strict-Transport-Security"] = f"max-age={YEAR_SECONDS}; includeSubDomains"
    return response
