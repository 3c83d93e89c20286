"""Programs that talk to the office: who is behind a token, and which there are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Party
from tracker.storage.access import Account, secret_hash
from tracker.storage.clients import ApiClient, ApiClientEnd, has_ended
from tracker.storage.people import party


@dataclass(frozen=True)
class Client:
    """A program that is let in. party: the person it acts for."""

    id: int
    name: str
    party: Party
    scopes: tuple[str, ...]


def client_of(session: Session, token: str) -> Client | None:
    """The program behind a token; None where it was revoked, never was, or its person is shut out."""
    row = session.scalar(select(ApiClient).where(ApiClient.token_hash == secret_hash(token)))
    if row is None or has_ended(session, row.id):
        return None
    active = session.scalar(select(Account.active).where(Account.party_key == row.party_key))
    if active is False:
        return None
    return Client(row.id, row.name, party(session, row.party_key), tuple(row.scopes))


@dataclass(frozen=True)
class ClientLine:
    """A program in a list. ended_at: since when its token opens nothing; why: the reason then given."""

    name: str
    party: str
    scopes: tuple[str, ...]
    made_by: str
    made_at: datetime
    ended_at: datetime | None
    why: str


def clients(session: Session) -> tuple[ClientLine, ...]:
    """Every program that was ever let in, by name."""
    wanted = (
        select(ApiClient, ApiClientEnd)
        .outerjoin(ApiClientEnd, ApiClientEnd.client_id == ApiClient.id)
        .order_by(ApiClient.name)
    )
    return tuple(
        ClientLine(
            row.name,
            row.party_key,
            tuple(row.scopes),
            row.made_by,
            row.made_at,
            end.at if end else None,
            end.reason if end else "",
        )
        for row, end in session.execute(wanted)
    )
