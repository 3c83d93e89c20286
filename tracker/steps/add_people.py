"""Take in a person, a place, a carrier, or a producer."""

from __future__ import annotations

import re
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import PARTY_KINDS, ROLES
from tracker.errors import Conflict, Refused
from tracker.storage.people import PartyRow, Producer
from tracker.storage.search_words import keep_producer_words

_KEY = re.compile(r"[a-z][a-z0-9-]{0,39}", re.ASCII)


def add_party(
    session: Session,
    *,
    key: str,
    name: str,
    kind: str = "person",
    role: str = "",
    secure: bool = False,
    now: datetime,
) -> PartyRow:
    """Add somebody or somewhere that can hold a sample; key is how commands name it.

    Raises Refused `not-a-key`, `name-missing`, `not-a-party-kind`, `not-a-role`, Conflict `key-taken`.
    """
    if not _KEY.fullmatch(key):
        raise Refused(
            "not-a-key",
            f"{key!r} cannot be a short name.",
            field="key",
            remedy="Use small letters, digits and hyphens, beginning with a letter: marit-sund.",
        )
    if kind not in PARTY_KINDS:
        raise Refused(
            "not-a-party-kind",
            f"{kind!r} is not a kind.",
            field="kind",
            remedy=f"Choose from {', '.join(PARTY_KINDS)}.",
        )
    if (kind == "person") != bool(role) or (role and role not in ROLES):
        raise Refused(
            "not-a-role",
            f"{role!r} does not fit a {kind}.",
            field="role",
            remedy=f"A person has one of the roles {', '.join(ROLES)}; places and carriers have none.",
        )
    if session.scalar(select(PartyRow.id).where(PartyRow.key == key)) is not None:
        raise Conflict("key-taken", f"{key!r} is taken.", field="key", remedy="Choose another short name.")
    row = PartyRow(key=key, name=named(name), kind=kind, role=role, secure=secure, added_at=now)
    session.add(row)
    session.flush()
    return row


def add_producer(
    session: Session, *, name: str, phone: str = "", email: str = "", place: str = "", now: datetime
) -> Producer:
    """Add a producer. Raises Refused `name-missing`, Conflict `producer-known`."""
    name = named(name)
    if session.scalar(select(Producer.id).where(Producer.name == name)) is not None:
        raise Conflict(
            "producer-known",
            f"There is a producer called {name!r}.",
            field="name",
            remedy="If this is another person, add the place to the name.",
        )
    row = Producer(name=name, phone=phone.strip(), email=email.strip(), place=place.strip(), added_at=now)
    session.add(row)
    session.flush()
    keep_producer_words(session, row)
    return row


def named(name: str) -> str:
    """The name with its blanks drawn together. Raises Refused `name-missing`."""
    plain = " ".join(name.split())
    if not plain:
        raise Refused("name-missing", "The name is empty.", field="name", remedy="Write the name.")
    return plain
