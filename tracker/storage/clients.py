"""Programs that talk to the office: whom they act for, what they may do, and the first answers to their acts."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Text, UniqueConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.storage.base import Base, Plain, Utc


class ApiClient(Base):
    """A program with a token, of which only the hash is kept. party_key: the person it acts for."""

    __tablename__ = "api_client"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    token_hash: Mapped[str] = mapped_column(Text, unique=True)
    party_key: Mapped[str] = mapped_column(ForeignKey("party.key"), index=True)
    scopes: Mapped[Any] = mapped_column(Plain)
    made_by: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime] = mapped_column(Utc)


class ApiClientEnd(Base):
    """From here on the program's token opens nothing."""

    __tablename__ = "api_client_end"

    client_id: Mapped[int] = mapped_column(ForeignKey("api_client.id"), primary_key=True)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


class ApiAnswer(Base):
    """The first answer to an act, by the key that the program gave it. body_hash: SHA-256 of address and body."""

    __tablename__ = "api_answer"
    __table_args__ = (UniqueConstraint("client_id", "key"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    client_id: Mapped[int] = mapped_column(ForeignKey("api_client.id"))
    key: Mapped[str] = mapped_column(Text)
    body_hash: Mapped[str] = mapped_column(Text)
    status: Mapped[int]
    answer: Mapped[Any] = mapped_column(Plain)
    at: Mapped[datetime] = mapped_column(Utc)


def client_called(session: Session, name: str) -> ApiClient | None:
    """The program of this name; None where there is none."""
    return session.scalar(select(ApiClient).where(ApiClient.name == name))


def has_ended(session: Session, client_id: int) -> bool:
    """Whether the program's token was revoked."""
    return session.get(ApiClientEnd, client_id) is not None
