"""Who may sign in, by which links they came, and who is signed in now. Only hashes of secrets are kept."""

from __future__ import annotations

import hashlib
from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from tracker.storage.base import Base, Utc
from tracker.storage.people import PartyRow


def secret_hash(token: str) -> str:
    """SHA-256 of a drawn token: it has 256 random bits, above the 112 from which OWASP ASVS 6.5.2 lets it do."""
    return hashlib.sha256(token.encode()).hexdigest()


class Account(Base):
    """A person's way in; the role is the party's. password_hash is empty until the invitation was used."""

    __tablename__ = "account"

    id: Mapped[int] = mapped_column(primary_key=True)
    party_key: Mapped[str] = mapped_column(ForeignKey("party.key"), unique=True)
    password_hash: Mapped[str | None] = mapped_column(Text)
    active: Mapped[bool]
    made_at: Mapped[datetime] = mapped_column(Utc)

    party: Mapped[PartyRow] = relationship(lazy="raise")


class AccessLink(Base):
    """An invitation or a reset: usable once, for a while."""

    __tablename__ = "access_link"
    __table_args__ = (CheckConstraint("purpose in ('invite', 'reset')", name="purpose"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id"), index=True)
    purpose: Mapped[str] = mapped_column(Text)
    made_by: Mapped[str] = mapped_column(Text)
    expires_at: Mapped[datetime] = mapped_column(Utc)
    used_at: Mapped[datetime | None] = mapped_column(Utc)


class SignedIn(Base):
    """One sign-in on one device, until it is ended or has been idle too long."""

    __tablename__ = "signed_in"

    id: Mapped[int] = mapped_column(primary_key=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id"), index=True)
    begun_at: Mapped[datetime] = mapped_column(Utc)
    seen_at: Mapped[datetime] = mapped_column(Utc)
    ended_at: Mapped[datetime | None] = mapped_column(Utc)

    account: Mapped[Account] = relationship(lazy="raise")


class Attempt(Base):
    """Something that may be done only so often; key says what and from where."""

    __tablename__ = "attempt"
    __table_args__ = (Index("ix_attempt_key_at", "key", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


class SecondFactor(Base):
    """What a person's phone makes its codes from (RFC 6238), encrypted with a key that is not in the database.

    confirmed_at is empty until a first code has shown that the phone has it; last_step: that of the last code that
    was used, which no code is used after or at again.
    """

    __tablename__ = "second_factor"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id"), unique=True)
    secret: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime] = mapped_column(Utc)
    confirmed_at: Mapped[datetime | None] = mapped_column(Utc)
    last_step: Mapped[int]


class RecoveryCode(Base):
    """A code on paper for the day the phone is lost; usable once."""

    __tablename__ = "recovery_code"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id"), index=True)
    code_hash: Mapped[str] = mapped_column(Text, unique=True)
    used_at: Mapped[datetime | None] = mapped_column(Utc)


class AccessEntry(Base):
    """One coming in, going out, or being turned away. who: whom it is about, empty where nobody of ours was named.

    place: the address it came from, or "command line"; about: the page or the person. Nothing typed is in it.
    """

    __tablename__ = "access_entry"

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Utc, index=True)
    what: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(Text)
    place: Mapped[str] = mapped_column(Text)
    about: Mapped[str] = mapped_column(Text)
