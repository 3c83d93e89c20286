"""Who is signed in, and who has an account."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from tracker.domain.custody import Party
from tracker.domain.times import CLOCK_SKEW
from tracker.storage.access import AccessEntry, Account, SecondFactor, SignedIn, secret_hash
from tracker.storage.kept import practice_in_force
from tracker.storage.people import PartyRow, as_party, party_names
from tracker.storage.questions import Asked, Question

# A bench is used all day by the same person; a shift is the longest that one sign-in lasts.
IDLE, LONGEST = timedelta(hours=8), timedelta(hours=12)
# To note every page would be a write for every page.
NOTE_AFTER = timedelta(minutes=5)


@dataclass(frozen=True)
class Person:
    """Somebody signed in. stale: it is time to note that the sign-in is in use.

    owes_factor: the programme wants a second factor of this role, and the person has not set one up.
    """

    party: Party
    stale: bool
    owes_factor: bool = False


_SIGNED_IN = Question(
    select(
        SignedIn.account_id,
        SignedIn.begun_at,
        SignedIn.seen_at,
        PartyRow.key,
        PartyRow.name,
        PartyRow.kind,
        PartyRow.role,
        PartyRow.secure,
    )
    .join(Account, Account.id == SignedIn.account_id)
    .join(PartyRow, PartyRow.key == Account.party_key)
    .where(SignedIn.token_hash == bindparam("token_hash"), SignedIn.ended_at.is_(None), Account.active)
)
_FACTOR = Question(
    select(SecondFactor.id).where(
        SecondFactor.account_id == bindparam("account"), SecondFactor.confirmed_at.is_not(None)
    )
)


def signed_in(asked: Asked, token: str, now: datetime) -> Person | None:
    """The person behind a sign-in's token; None when it has ended, was idle too long, or never was."""
    found = _SIGNED_IN.first(asked, token_hash=secret_hash(token))
    if found is None:
        return None
    if now - found.seen_at > IDLE or now - found.begun_at > LONGEST:
        return None
    if found.begun_at > now + CLOCK_SKEW:
        # Begun while the clock ran ahead, it would last until the clock had come that far, and a shift longer.
        return None
    party = as_party(found)
    owes = wants_factor(asked, party.role) and not has_factor(asked, found.account_id)
    return Person(party, abs(now - found.seen_at) > NOTE_AFTER, owes)


def wants_factor(asked: Asked, role: str) -> bool:
    """Whether the programme wants a second factor of those with this role."""
    wanted = practice_in_force(asked).word("second_factor")
    return wanted == "staff" or (wanted == "lead" and role == "lead")


def is_ours(session: Session, key: str) -> bool:
    """Whether somebody has an account under this name."""
    return session.scalar(select(Account.id).where(Account.party_key == key)) is not None


def has_factor(asked: Asked, account_id: int) -> bool:
    """Whether this account's sign-in asks for a code."""
    return _FACTOR.first(asked, account=account_id) is not None


@dataclass(frozen=True)
class Coming:
    """One line of the log of comings and refusals; who: the name, empty where nobody of ours was named."""

    at: datetime
    what: str
    who: str
    place: str
    about: str


def comings(session: Session, last: int = 200) -> tuple[Coming, ...]:
    """Who came in, went out and was turned away, the newest first."""
    names = party_names(session)
    rows = session.scalars(select(AccessEntry).order_by(AccessEntry.id.desc()).limit(max(0, last)))
    return tuple(Coming(row.at, row.what, names.get(row.who, row.who), row.place, row.about) for row in rows)


@dataclass(frozen=True)
class AccountLine:
    """One account in the lead's list."""

    key: str
    name: str
    role: str
    active: bool
    invited: bool
    factor: bool


def accounts(session: Session) -> tuple[AccountLine, ...]:
    """Every account by key; invited: the invitation was not used yet."""
    rows = session.scalars(select(Account).options(joinedload(Account.party)).order_by(Account.party_key))
    with_factor = set(
        session.scalars(select(SecondFactor.account_id).where(SecondFactor.confirmed_at.is_not(None)))
    )
    return tuple(
        AccountLine(
            row.party_key,
            row.party.name,
            row.party.role,
            row.active,
            row.password_hash is None,
            row.id in with_factor,
        )
        for row in rows
    )
