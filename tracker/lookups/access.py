"""Who is signed in, and who has an account."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.custody import Party
from tracker.storage.access import Account, SignedIn, secret_hash
from tracker.storage.people import as_party

# A bench is used all day by the same person; a shift is the longest that one sign-in lasts.
IDLE, LONGEST = timedelta(hours=8), timedelta(hours=12)
# To note every page would be a write for every page.
NOTE_AFTER = timedelta(minutes=5)


@dataclass(frozen=True)
class Person:
    """Somebody signed in. stale: it is time to note that the sign-in is in use."""

    party: Party
    stale: bool


def signed_in(session: Session, token: str, now: datetime) -> Person | None:
    """The person behind a sign-in's token; None when it has ended, was idle too long, or never was."""
    wanted = (
        select(SignedIn)
        .where(SignedIn.token_hash == secret_hash(token))
        .options(joinedload(SignedIn.account).joinedload(Account.party))
    )
    found = session.scalar(wanted)
    if found is None or found.ended_at is not None or not found.account.active:
        return None
    if now - found.seen_at > IDLE or now - found.begun_at > LONGEST:
        return None
    return Person(as_party(found.account.party), now - found.seen_at > NOTE_AFTER)


@dataclass(frozen=True)
class AccountLine:
    """One account in the lead's list."""

    key: str
    name: str
    role: str
    active: bool
    invited: bool


def accounts(session: Session) -> tuple[AccountLine, ...]:
    """Every account by key; invited: the invitation was not used yet."""
    rows = session.scalars(select(Account).options(joinedload(Account.party)).order_by(Account.party_key))
    return tuple(
        AccountLine(row.party_key, row.party.name, row.party.role, row.active, row.password_hash is None)
        for row in rows
    )
