"""Let a program talk to the office in a person's name, and end that again."""

from __future__ import annotations

import secrets
from collections.abc import Sequence

from sqlalchemy.orm import Session

from tracker.domain.client_scopes import scopes_read
from tracker.domain.custody import Act
from tracker.errors import Conflict, NotFound, Refused
from tracker.steps.add_people import named
from tracker.steps.dispose_data import require_lead
from tracker.steps.note_access import note_access
from tracker.steps.print_tags import require_reason
from tracker.storage.access import secret_hash
from tracker.storage.clients import ApiClient, ApiClientEnd, client_called, has_ended
from tracker.storage.people import party

CLIENT_MADE, CLIENT_ENDED = "program let in", "program shut out"


def make_client(
    session: Session, name: str, party_key: str, scopes: Sequence[str], act: Act, *, place: str = ""
) -> tuple[ApiClient, str]:
    """A program by the name it is called, and its token, which is kept nowhere.

    party_key: the person it acts for, whose role it has. place: where the lead did this from.

    Raises Refused `not-allowed`, `name-missing`, `not-a-person`, `scope-missing`, `not-a-scope`, NotFound
    `unknown-party`, Conflict `client-known`.
    """
    require_lead(act)
    name, wanted = named(name), scopes_read(scopes)
    who = party(session, party_key, field="party")
    if who.kind != "person":
        raise Refused(
            "not-a-person",
            f"{who.name} is a {who.kind}.",
            field="party",
            remedy="Choose the person in whose name the program enters things.",
        )
    if client_called(session, name) is not None:
        raise Conflict(
            "client-known",
            f"There is, or was, a program called {name!r}.",
            field="name",
            remedy="Choose another name: entries of before stay with the old one.",
        )
    token = secrets.token_urlsafe(32)
    row = ApiClient(
        name=name,
        token_hash=secret_hash(token),
        party_key=who.key,
        scopes=list(wanted),
        made_by=act.by.key,
        made_at=act.now,
    )
    session.add(row)
    note_access(session, act.now, CLIENT_MADE, who.key, place, f"{name}, by {act.by.key}")
    session.flush()
    return row, token


def revoke_client(session: Session, name: str, act: Act, *, reason: str, place: str = "") -> ApiClientEnd:
    """End a program's token, for ever.

    Raises Refused `not-allowed`, `reason-missing`, NotFound `unknown-client`, Conflict `client-ended`.
    """
    require_lead(act)
    require_reason(reason)
    row = client_called(session, name)
    if row is None:
        raise NotFound(
            "unknown-client",
            f"There is no program called {name[:40]!r}.",
            field="name",
            remedy="`tracker clients` lists them.",
        )
    if has_ended(session, row.id):
        raise Conflict(
            "client-ended",
            f"{row.name}'s token opens nothing already.",
            field="name",
            remedy="Nothing more is to be done.",
        )
    end = ApiClientEnd(client_id=row.id, reason=reason.strip(), by=act.by.key, at=act.now)
    session.add(end)
    note_access(session, act.now, CLIENT_ENDED, row.party_key, place, f"{row.name}, by {act.by.key}")
    session.flush()
    return end
