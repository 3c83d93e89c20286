"""A second factor beside the password: codes from a phone, each for half a minute (RFC 6238), and codes on paper.

The phone's secret is kept encrypted; `key` is the server's own secret, which lies outside the database, so that a
copy of the database makes nobody's codes.
"""

from __future__ import annotations

import base64
import secrets
from dataclasses import dataclass
from datetime import datetime
from hmac import compare_digest

import pyotp
from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from tracker.errors import NotFound, Refused
from tracker.storage.access import Account, RecoveryCode, SecondFactor, secret_hash

STEP_SECONDS = 30
# RFC 6238, 5.2: the code of one step before is taken too, for the time it takes to type; none of a step to come.
STEPS_BACK = 1
PAPER_CODES = 8
# 24 characters of base 32: 120 random bits, above the 112 from which a plain hash does (OWASP ASVS 5.0.0, 6.5.2).
PAPER_LENGTH, PAPER_ALPHABET = 24, "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


class WrongCode(Refused):
    """The password was right and the code was not; whoever asks is told the same as for a wrong password."""


@dataclass(frozen=True)
class Enrolment:
    """What the phone is to be shown: the secret in base 32, and the address that its QR holds."""

    secret: str
    address: str


def begin_factor(session: Session, account: Account, key: str, now: datetime, *, programme: str) -> Enrolment:
    """A new secret for the person's phone; it counts once confirm_factor has seen a code of it.

    A factor in use stays so until then. Raises Refused `second-factor-set` where there is one.
    """
    found = _factor(session, account.id)
    if found is not None and found.confirmed_at is not None:
        raise Refused(
            "second-factor-set",
            "Your sign-in has a second factor already.",
            field="code",
            remedy="A lead takes it away first, under People; then set it up anew.",
        )
    secret = pyotp.random_base32()
    if found is None:
        found = SecondFactor(account_id=account.id, last_step=0)
        session.add(found)
    found.secret, found.made_at, found.confirmed_at = _box(key).encrypt(secret.encode()).decode(), now, None
    session.flush()
    address = pyotp.TOTP(secret).provisioning_uri(name=account.party_key, issuer_name=programme)
    return Enrolment(secret, address)


def confirm_factor(session: Session, account: Account, code: str, key: str, now: datetime) -> list[str]:
    """Put the phone to use, once it has shown a right code; the codes for paper, which are shown only now.

    Raises NotFound `no-second-factor`, Refused `code-wrong`.
    """
    found = _factor(session, account.id)
    if found is None or found.confirmed_at is not None:
        raise _no_factor(account.party_key)
    if not _proved(found, code, key, now):
        raise Refused(
            "code-wrong",
            "This is not the code that the phone shows now.",
            field="code",
            remedy="Wait for the next one and type that. If it stays so, the phone's clock is wrong.",
        )
    found.confirmed_at = now
    session.execute(delete(RecoveryCode).where(RecoveryCode.account_id == account.id))
    papers = [
        "".join(secrets.choice(PAPER_ALPHABET) for _ in range(PAPER_LENGTH)) for _ in range(PAPER_CODES)
    ]
    session.add_all(RecoveryCode(account_id=account.id, code_hash=secret_hash(paper)) for paper in papers)
    session.flush()
    return ["-".join(paper[at : at + 4] for at in range(0, PAPER_LENGTH, 4)) for paper in papers]


def take_away_factor(session: Session, account: Account) -> None:
    """Let the password do again, where the phone is lost. Raises NotFound `no-second-factor`."""
    if _factor(session, account.id) is None:
        raise _no_factor(account.party_key)
    session.execute(delete(SecondFactor).where(SecondFactor.account_id == account.id))
    session.execute(delete(RecoveryCode).where(RecoveryCode.account_id == account.id))


def show_code(session: Session, account: Account, code: str, key: str, now: datetime) -> bool:
    """Nothing to show, or the right code: from the phone, each once, or from paper, each once. Whether from paper.

    Raises WrongCode.
    """
    found = _factor(session, account.id)
    if found is None or found.confirmed_at is None or _proved(found, code, key, now):
        return False
    spent = update(RecoveryCode).where(
        RecoveryCode.account_id == account.id,
        RecoveryCode.code_hash == secret_hash(_plain(code)),
        RecoveryCode.used_at.is_(None),
    )
    if session.connection().execute(spent.values(used_at=now)).rowcount == 1:
        return True
    raise WrongCode(
        "sign-in-failed",
        "Name and password do not go together.",
        field="password",
        remedy="Try again, or ask the lead for a reset link.",
    )


def _proved(found: SecondFactor, code: str, key: str, now: datetime) -> bool:
    """Whether it is a code of the phone's that was not used; it is used with that."""
    try:
        phone = pyotp.TOTP(_box(key).decrypt(found.secret.encode()).decode())
    except InvalidToken:
        raise Refused(
            "second-factor-unreadable",
            "The second factor cannot be read with this server's key.",
            field="code",
            remedy="A lead takes it away (`tracker take-away-factor`), and it is set up anew.",
        ) from None
    step = int(now.timestamp()) // STEP_SECONDS
    for one in range(step, step - STEPS_BACK - 1, -1):
        if one > found.last_step and compare_digest(phone.generate_otp(one).encode(), _plain(code).encode()):
            found.last_step = one
            return True
    return False


def _plain(code: str) -> str:
    return "".join(code.split()).replace("-", "").upper()[:64]


def _factor(session: Session, account_id: int) -> SecondFactor | None:
    return session.scalar(select(SecondFactor).where(SecondFactor.account_id == account_id))


def _no_factor(party_key: str) -> NotFound:
    return NotFound(
        "no-second-factor",
        f"{party_key} has no second factor to be confirmed or taken away.",
        field="key",
        remedy="Whoever wants one sets it up on the page of that name.",
    )


def _box(key: str) -> Fernet:
    derived = HKDF(hashes.SHA256(), 32, salt=None, info=b"second factor").derive(key.encode())
    return Fernet(base64.urlsafe_b64encode(derived))
