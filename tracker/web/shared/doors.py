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


class Addresses(dict[str, str]):
    """Where pages lie that need no value, and files of ours (static/house.css): each put together once."""

    def __init__(self, made: Callable[..., str]) -> None:
        super().__init__()
        self._made = made

    def __missing__(self, name: str) -> str:
        endpoint, _, file = name.partition("/")
        found = self[name] = self._made(endpoint, **({"filename": file} if file else {}))
        return found


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
        self._below: dict[str, Addresses] = {}

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """None of our functions waits asynchronously, and to look each time whether it does takes a while."""
        return func

    def addresses(self) -> Addresses:
        """The addresses that stay the same, below the root that this request came to."""
        root = request_ctx.request.root_path
        found = self._below.get(root)
        if found is None:
            found = self._below[root] = Addresses(super().url_for)
        return found

    def update_template_context(self, context: dict[str, Any]) -> None:
        """The addresses alone: what else every template may use stands among the globals of the templates."""
        context["addresses"] = self.addresses()

    def url_for(self, /, endpoint: str, **values: Any) -> str:
        """An address. One without values, or of a file of ours, is the same all day and put together once."""
        if endpoint.startswith(".") or not has_request_context():
            return super().url_for(endpoint, **values)
        if not values:
            return self.addresses()[endpoint]
        if values.keys() == FILE:
            return self.addresses()[f"{endpoint}/{values['filename']}"]
        return super().url_for(endpoint, **values)
