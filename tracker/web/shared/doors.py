"""Flask as the doors use it: what is the same at every request is made once."""

from __future__ import annotations

from collections.abc import Callable, MutableMapping
from typing import TYPE_CHECKING, Any

from flask import Flask, has_request_context
from flask.globals import request_ctx
from flask.sessions import SecureCookieSessionInterface, SessionMixin
from flask.templating import Environment

if TYPE_CHECKING:
    from flask import Request, Response
    from flask.sessions import SecureCookieSession
    from itsdangerous import URLSafeTimedSerializer


FILE = {"filename"}


class Pages(Environment):
    """The templates. What every page may use is one dictionary, which is copied faster than a chain of them."""

    def make_globals(self, d: MutableMapping[str, Any] | None) -> MutableMapping[str, Any]:
        return {**self.globals, **(d or {})}


class FormSession(SecureCookieSessionInterface):
    """What a browser keeps for us in a signed cookie. Most requests bring none and take none away."""

    _signer: URLSafeTimedSerializer | None = None

    def get_signing_serializer(self, app: Flask) -> URLSafeTimedSerializer | None:
        if self._signer is None:
            self._signer = super().get_signing_serializer(app)
        return self._signer

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        return (
            super().open_session(app, request) if "HTTP_COOKIE" in request.environ else self.session_class()
        )

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        if session or session.modified:
            super().save_session(app, session, response)
        elif session.accessed:
            response.headers.add("Vary", "Cookie")


class Doors(Flask):
    """The application before it knows any page."""

    jinja_environment = Pages

    def __init__(self, *words: Any, **named: Any) -> None:
        super().__init__(*words, **named)
        self.session_interface = FormSession()
        self._addresses: dict[tuple[str, ...], str] = {}

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """None of our functions waits asynchronously, and to look each time whether it does takes a while."""
        return func

    def update_template_context(self, context: dict[str, Any]) -> None:
        """Nothing: what every template may use stands among the globals of the templates, not in a processor."""

    def url_for(self, /, endpoint: str, **values: Any) -> str:
        """An address. One without values, or of a file of ours, is the same all day and put together once."""
        if not values.keys() <= FILE or endpoint.startswith(".") or not has_request_context():
            return super().url_for(endpoint, **values)
        key = (request_ctx.request.root_path, endpoint, *values.values())
        found = self._addresses.get(key)
        if found is None:
            found = self._addresses[key] = super().url_for(endpoint, **values)
        return found
