"""The programs' door: a token in every request, its scopes and its person's role, and no cookie."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import Blueprint, g, request

from tracker.errors import Refused
from tracker.lookups.clients import client_of
from tracker.steps.note_access import NOT_ALLOWED, NOT_LET_IN
from tracker.web.shared.guard import csrf
from tracker.web.shared.noted import here, noted
from tracker.web.shared.season import now, reading
from tracker.web.shared.tries import count_try, refuse_too_many

if TYPE_CHECKING:
    from tracker.lookups.clients import Client
    from tracker.web.api.entry import Entry

door = Blueprint("api", __name__, url_prefix="/api/v1")
# A form of another site cannot send the header that opens this door, and no cookie does.
csrf.exempt(door)
WRONG_TOKENS = 20


@door.before_request
def nobody_by_cookie() -> None:
    """Whoever is signed in on this device is nobody here."""
    g.party, g.owes_factor = None, False


@door.after_request
def answers_vary(response: Any) -> Any:
    """A cache in between may give one program's answer to no other."""
    response.headers["Vary"] = "Authorization"
    return response


def program() -> Client:
    """The program that asks. Raises Refused `token-needed`, and after many wrong tokens `too-many-tries`."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    tries = {f"wrong token from {here()}": WRONG_TOKENS}
    refuse_too_many(tries)
    found = None
    if scheme.lower() == "bearer" and token.strip():
        with reading() as session:
            found = client_of(session, token.strip())
        if found is None:
            count_try("open by token", tries)
            noted(NOT_LET_IN, who="", about=f"{request.method} {request.endpoint}")
    if found is None:
        raise Refused(
            "token-needed",
            "No token that opens anything came with this.",
            remedy="Send the header Authorization: Bearer TOKEN; the lead makes tokens with `tracker add-client`.",
        )
    g.party = found.party
    return found


def let_in(entry: Entry) -> Client:
    """The program, if its scopes and its person's role open this. Raises Refused `not-in-scope`, `not-allowed`."""
    found = program()
    if entry.scope not in found.scopes:
        noted(NOT_ALLOWED, about=f"{request.method} {request.endpoint}")
        raise Refused(
            "not-in-scope",
            f"{found.name} has the scopes {', '.join(found.scopes)}; this needs {entry.scope}.",
            remedy="The lead makes a token that has it, if it should have it.",
        )
    if found.party.role not in entry.roles:
        noted(NOT_ALLOWED, about=f"{request.method} {request.endpoint}")
        raise Refused(
            "not-allowed",
            f"{found.name} acts for {found.party.name}, {found.party.role}; this is for {', '.join(entry.roles)}.",
            remedy="Use a program that acts for somebody with the right.",
        )
    return found


def today() -> Any:
    """The office's calendar day."""
    return now().astimezone().date()
