"""Let a person in: by an invitation once, by a password from then on; and end it again."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from sqlalchemy import bindparam, delete, func, select, update
from sqlalchemy.orm import Session, joinedload

from tracker.domain.times import CLOCK_SKEW
from tracker.errors import Conflict, NotFound, Refused
from tracker.steps.add_people import add_party
from tracker.steps.note_access import RECOVERED, note_access
from tracker.steps.second_factor import show_code
from tracker.storage.access import AccessLink, Account, Attempt, SignedIn, secret_hash
from tracker.storage.people import PartyRow, party
from tracker.storage.questions import Asked, Question

# OWASP Password Storage Cheat Sheet: argon2id with m >= 19456 KiB, t >= 2, p = 1.
HASHER = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
LEAST_CHARACTERS, MOST_CHARACTERS = 8, 200
LINK_HOURS = {"invite": 72, "reset": 1}
TRIES, TRIES_WITHIN = 10, timedelta(minutes=15)
TRIES_KEPT = timedelta(days=1)
# Compared against when nobody has the name, so that the answer takes as long.
_NOBODY = HASHER.hash(secrets.token_urlsafe(16))


def make_account(session: Session, party_key: str, by: str, now: datetime) -> str:
    """Give a person of the programme an account, and return the token of the invitation.

    Raises NotFound `unknown-party`, Refused `not-a-person`, Conflict `has-an-account`.
    """
    who = party(session, party_key, field="key")
    if who.kind != "person":
        raise Refused(
            "not-a-person", f"{who.name} is a {who.kind}.", field="key", remedy="Only people sign in."
        )
    if session.scalar(select(Account.id).where(Account.party_key == party_key)) is not None:
        raise Conflict(
            "has-an-account",
            f"{who.name} has an account.",
            field="key",
            remedy="Make a reset link if the password is lost.",
        )
    account = Account(party_key=party_key, password_hash=None, active=True, made_at=now)
    session.add(account)
    session.flush()
    return _link(session, account, "invite", by, now)


def make_lead(session: Session, *, key: str, name: str, now: datetime) -> None:
    """Take somebody in as lead, where nobody has this key yet; the first lead comes from the command line.

    Raises Conflict `key-taken` where somebody else has it, Refused as add_party.
    """
    known = session.scalar(select(PartyRow).where(PartyRow.key == key))
    if known is None:
        add_party(session, key=key, name=name, role="lead", now=now)
    elif known.role != "lead":
        raise Conflict(
            "key-taken",
            f"{key!r} is {known.name}, {known.role or known.kind}.",
            field="key",
            remedy="Choose another short name for the lead.",
        )


def make_reset(session: Session, party_key: str, by: str, now: datetime) -> str:
    """The token of a link by which the person sets a new password. Raises NotFound `no-account`."""
    return _link(session, account_of(session, party_key), "reset", by, now)


def account_of(session: Session, party_key: str) -> Account:
    """The person's account. Raises NotFound `no-account`."""
    account = session.scalar(select(Account).where(Account.party_key == party_key))
    if account is None:
        raise NotFound(
            "no-account", f"{party_key} has no account.", field="key", remedy="Invite the person first."
        )
    return account


def _link(session: Session, account: Account, purpose: str, by: str, now: datetime) -> str:
    _end_links(session, account.id, now)
    token = secrets.token_urlsafe(32)
    session.add(
        AccessLink(
            token_hash=secret_hash(token),
            account_id=account.id,
            purpose=purpose,
            made_by=by,
            expires_at=now + timedelta(hours=LINK_HOURS[purpose]),
        )
    )
    session.flush()
    return token


def use_link(session: Session, token: str, password: str, now: datetime) -> str:
    """Set the password by an invitation or a reset, once. Returns the person's key.

    Every sign-in and every other link of before ends, and the tries that went wrong are forgotten.

    Raises Refused `link-unusable`, `password-short`, `password-long`, `password-common`.
    """
    link = session.scalar(select(AccessLink).where(AccessLink.token_hash == secret_hash(token)))
    account = session.get(Account, link.account_id) if link is not None else None
    if (
        link is None
        or account is None
        or link.used_at is not None
        or link.expires_at < now
        or not account.active
    ):
        raise Refused(
            "link-unusable",
            "This link was used, is too old, or never was one of ours.",
            field="link",
            remedy="Ask the lead for a new one.",
        )
    check_password(password, account.party_key)
    account.password_hash = HASHER.hash(password)
    _end_links(session, account.id, now)
    end_all(session, account.id, now)
    forget_attempts(session, account.party_key)
    session.flush()
    return account.party_key


def _end_links(session: Session, account_id: int, now: datetime) -> None:
    open_links = update(AccessLink).where(AccessLink.account_id == account_id, AccessLink.used_at.is_(None))
    session.execute(open_links.values(used_at=now))


def check_password(password: str, key: str) -> None:
    """Nothing, if the password will do; no rules about its characters (OWASP ASVS 5.0.0, 6.2.5).

    Raises Refused `password-short`, `password-long`, `password-common`.
    """
    if len(password) < LEAST_CHARACTERS:
        raise Refused(
            "password-short",
            f"The password has {len(password)} characters.",
            field="password",
            remedy=f"Use {LEAST_CHARACTERS} or more; a few words together do well.",
        )
    if len(password) > MOST_CHARACTERS:
        raise Refused(
            "password-long",
            f"The password has {len(password)} characters.",
            field="password",
            remedy=f"{MOST_CHARACTERS} are the most.",
        )
    if password.lower() in _common() or password.lower() == key:
        raise Refused(
            "password-common",
            "This password is one of the first that anybody would try.",
            field="password",
            remedy="A few words together that nobody says do well.",
        )


def _common() -> frozenset[str]:
    # The list takes a moment to load, and is needed only where a password is set.
    from zxcvbn.frequency_lists import FREQUENCY_LISTS

    return frozenset(FREQUENCY_LISTS["passwords"])


def attempts_as(party_key: str) -> str:
    """How tries to sign in under a name are counted: by its hash, for a password is often typed into this box."""
    return f"sign in as {secret_hash(party_key)[:20]}"


# Made once: it is asked before every page of a stranger.
_RECENT = Question(
    select(func.count().label("tries"))
    .select_from(Attempt)
    # What a clock that ran ahead dated later would shut people out until then.
    .where(
        Attempt.key == bindparam("tried"), Attempt.at > bindparam("since"), Attempt.at <= bindparam("until")
    )
)


def refuse_if_tried_too_often(asked: Asked, key: str, now: datetime, most: int = TRIES) -> None:
    """Nothing, while there were fewer than `most` tries in the last quarter of an hour; else `too-many-tries`."""
    span = {"since": now - TRIES_WITHIN, "until": now + CLOCK_SKEW}
    if _RECENT.first(asked, tried=key, **span).tries >= most:
        raise Refused(
            "too-many-tries",
            "That was tried too often.",
            field="password",
            remedy=f"Wait {int(TRIES_WITHIN.total_seconds() // 60)} minutes, or ask the lead for a reset link.",
        )


def note_attempt(session: Session, key: str, now: datetime, most: int = TRIES) -> None:
    """Count one more try of something, kept in an act of its own so that a refusal does not uncount it.

    Raises Refused `too-many-tries`.
    """
    refuse_if_tried_too_often(session, key, now, most)
    session.execute(delete(Attempt).where(Attempt.at < now - TRIES_KEPT))
    session.add(Attempt(key=key, at=now))
    session.flush()


def forget_attempts(session: Session, party_key: str) -> None:
    """Begin to count anew for somebody who has shown who he is."""
    session.execute(delete(Attempt).where(Attempt.key.startswith(attempts_as(party_key), autoescape=True)))


def sign_in(
    session: Session, party_key: str, password: str, now: datetime, *, code: str = "", key: str = ""
) -> str:
    """The token of a new sign-in. code: of the second factor, where the person has one; key: as second_factor's.

    One answer for a wrong name, a wrong password and a wrong code: Refused `sign-in-failed` (the last as WrongCode).
    """
    account = session.scalar(
        select(Account)
        .where(Account.party_key == party_key.strip().lower())
        .options(joinedload(Account.party))
    )
    known = account.password_hash if account is not None and account.active else None
    try:
        HASHER.verify(known or _NOBODY, password)
        right = known is not None
    except (VerifyMismatchError, InvalidHashError):
        right = False
    if account is None or not right:
        raise Refused(
            "sign-in-failed",
            "Name and password do not go together.",
            field="password",
            remedy="Try again, or ask the lead for a reset link.",
        )
    if show_code(session, account, code, key, now):
        note_access(session, now, RECOVERED, account.party_key, "")
    if HASHER.check_needs_rehash(str(account.password_hash)):
        account.password_hash = HASHER.hash(password)
    forget_attempts(session, account.party_key)
    return begin(session, account, now)


def begin(session: Session, account: Account, now: datetime) -> str:
    """The token of a new sign-in of somebody who has shown who he is."""
    token = secrets.token_urlsafe(32)
    session.add(SignedIn(token_hash=secret_hash(token), account_id=account.id, begun_at=now, seen_at=now))
    session.flush()
    return token


def sign_out(session: Session, token: str, now: datetime) -> None:
    """End this sign-in; does nothing where it has ended."""
    found = session.scalar(select(SignedIn).where(SignedIn.token_hash == secret_hash(token)))
    if found is not None and found.ended_at is None:
        found.ended_at = now
        session.flush()


def end_all(session: Session, account_id: int, now: datetime) -> None:
    """End every sign-in of an account."""
    live = update(SignedIn).where(SignedIn.account_id == account_id, SignedIn.ended_at.is_(None))
    session.execute(live.values(ended_at=now))


def end_everybody(session: Session, now: datetime) -> int:
    """End every sign-in and every open link, whosever they are; how many sign-ins that were."""
    live = select(func.count()).select_from(SignedIn).where(SignedIn.ended_at.is_(None))
    found = session.scalar(live) or 0
    session.execute(update(SignedIn).where(SignedIn.ended_at.is_(None)).values(ended_at=now))
    session.execute(update(AccessLink).where(AccessLink.used_at.is_(None)).values(used_at=now))
    return found


def set_active(session: Session, party_key: str, active: bool, now: datetime) -> None:
    """Let a person in again, or no more; whoever is shut out is signed out, and no link of his opens any more.

    Raises NotFound `no-account`, Refused `last-lead`.
    """
    account = account_of(session, party_key)
    if not active:
        _refuse_last_lead(session, party_key)
        end_all(session, account.id, now)
        _end_links(session, account.id, now)
    account.active = active
    session.flush()


def _refuse_last_lead(session: Session, party_key: str) -> None:
    leads = session.scalars(
        select(Account.party_key)
        .join(Account.party)
        .where(Account.active, Account.password_hash.is_not(None), PartyRow.role == "lead")
    ).all()
    if list(leads) == [party_key]:
        raise Refused(
            "last-lead",
            f"{party_key} is the only lead who can sign in.",
            field="key",
            remedy="Invite another lead first; nobody else could let anybody in again.",
        )


def still_here(session: Session, token: str, now: datetime) -> None:
    """Note that a sign-in is in use."""
    used = update(SignedIn).where(SignedIn.token_hash == secret_hash(token), SignedIn.ended_at.is_(None))
    session.execute(used.values(seen_at=now))
