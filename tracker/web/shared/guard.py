"""What stands before every page: the sign-in's cookie, roles, the guard against forged forms, and headers."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from flask import Flask, Request, current_app, g, redirect, request, session, url_for
from flask.globals import request_ctx
from flask_wtf.csrf import CSRFProtect

from tracker.errors import Refused, TrackerError
from tracker.lookups.access import signed_in as signed_in_by
from tracker.steps.note_access import NOT_ALLOWED
from tracker.steps.sign_in import still_here
from tracker.web.shared.access import may, may_owe, signed_in
from tracker.web.shared.noted import noted
from tracker.web.shared.season import asking, now, season

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

COOKIE, SAFE_COOKIE = "tracker", "__Host-tracker"
YEAR_SECONDS = 31_536_000
# Our own files only, no frames, nothing inline.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'; manifest-src 'self'"
)
# Requests that change nothing, and bring no form.
LOOKS = ("GET", "HEAD", "OPTIONS")
csrf = CSRFProtect()


def stand(app: Flask) -> None:
    """Put the guard before and after every request of the application."""
    # Forms are looked at below, once it is known who sent them.
    app.config["WTF_CSRF_CHECK_DEFAULT"] = False
    csrf.init_app(app)
    app.before_request(_before)
    secure = bool(app.config["SESSION_COOKIE_SECURE"])
    app.wsgi_app = Headers(app.wsgi_app, secure=secure)  # type: ignore[method-assign]


def _before() -> Any:
    # Whoever it is stands first, so that the page of a refused form still knows.
    asked = request_ctx.request
    _who(asked)
    if asked.method not in LOOKS and current_app.config["WTF_CSRF_ENABLED"]:
        csrf.protect(apply_exemptions=True)
    return _roles(asked)


def cookie_name() -> str:
    """The sign-in's cookie; under https it is bound to this host alone."""
    return SAFE_COOKIE if current_app.config["SESSION_COOKIE_SECURE"] else COOKIE


def _who(asked: Request) -> None:
    token = asked.cookies.get(cookie_name()) if "HTTP_COOKIE" in asked.environ else None
    if not token or asked.endpoint == "static":
        return
    with asking() as asked_in:
        found = signed_in_by(asked_in, token, now())
    if found is None:
        return
    g.party, g.owes_factor = found.party, found.owes_factor
    if found.stale:
        # A page is not kept from anybody because this note could not be written.
        with suppress(TrackerError), season().act("still here", found.party.key, {}) as writing:
            still_here(writing, token, now())


def _roles(asked: Request) -> Any:
    if asked.endpoint in (None, "static"):
        return None
    view = current_app.view_functions[str(asked.endpoint)]
    if may(view):
        return _factor_first(view)
    if signed_in() is None and asked.method == "GET" and not getattr(view, "as_json", False):
        session["then"] = asked.full_path.rstrip("?")
        return redirect(url_for("office.sign_in_page"), 303)
    if signed_in() is None:
        raise Refused(
            "sign-in-needed", "Nobody is signed in on this device.", remedy="Sign in, then do it again."
        )
    noted(NOT_ALLOWED, about=f"{asked.method} {asked.endpoint}")
    raise Refused(
        "not-allowed",
        "This page is not for your role.",
        remedy="Somebody with the right does it under his name.",
    )


def _factor_first(view: Any) -> Any:
    """Nothing, unless the programme wants a second factor of whoever is here and there is none yet."""
    if not g.get("owes_factor") or may_owe(view):
        return None
    if request.method == "GET":
        return redirect(url_for("office.second_factor"), 303)
    raise Refused(
        "second-factor-needed",
        "Your sign-in needs a second factor before anything is entered.",
        remedy="Set it up first; it takes a minute with a phone.",
    )


class Headers:
    """A WSGI application whose answers all carry our headers, but for those that a page has set by itself."""

    def __init__(self, within: WSGIApplication, *, secure: bool) -> None:
        self._within = within
        usual = {
            "Content-Security-Policy": POLICY,
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "same-origin",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Permissions-Policy": "camera=(self), serial=(self), geolocation=(self), microphone=()",
            "Cache-Control": "no-store",
            "X-Robots-Tag": "noindex",
        }
        if secure:
            usual["Strict-Transport-Security"] = f"max-age={YEAR_SECONDS}; includeSubDomains"
        self._usual = list(usual.items())
        self._secret = list({**usual, "Referrer-Policy": "no-referrer"}.items())
        self._names = {name.lower() for name in usual}

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        # The address of a bag, a stub or an invitation is nothing to tell the next page.
        secret = environ.get("PATH_INFO", "").lower().startswith(("/t/", "/link/"))
        ours = self._secret if secret else self._usual

        def start(status: str, headers: list[tuple[str, str]], *fault: Any) -> Any:
            own = self._names.intersection([name.lower() for name, _ in headers])
            added = [one for one in ours if one[0].lower() not in own] if own else ours
            return start_response(status, headers + added, *fault)

        return self._within(environ, start)
