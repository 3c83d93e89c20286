"""A producer says that he wants messages, or no more of them. Nobody gets any who did not ask."""

from __future__ import annotations

import re
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import NotFound, Refused
from tracker.steps.print_tags import require_reason
from tracker.steps.stub_access import require_office
from tracker.storage.messages import EMAIL, STOPPED, WANTED, MessageChoice, choice_of
from tracker.storage.people import Producer

_ADDRESS = re.compile(r"[^@\s<>,;:\"()\\]{1,64}@[^@\s<>,;:\"()\\]{1,180}\.[A-Za-z0-9-]{2,60}", re.ASCII)


def want_messages(session: Session, producer_id: int, act: Act, *, address: str, how: str) -> MessageChoice:
    """The producer asked for messages at this address. how: how he asked, for instance "signed form of 3 June".

    An empty address means the one that the programme has of him. Raises Refused `not-allowed`, `reason-missing`,
    `not-an-address`, NotFound `unknown-producer`.
    """
    require_office(act)
    require_reason(how)
    producer = _producer(session, producer_id)
    address = (address or producer.email).strip()
    if not _ADDRESS.fullmatch(address):
        raise Refused(
            "not-an-address",
            f"{address[:80]!r} is no e-mail address.",
            field="address",
            remedy="Write it like name@example.org.",
        )
    return _choice(session, producer_id, address, WANTED, how, act.by.key, act.now)


def stop_messages(session: Session, producer_id: int, by: str, now: datetime, *, how: str) -> MessageChoice:
    """No more messages to this producer; anybody may say so for him. Raises NotFound `unknown-producer`,
    Refused `no-messages-wanted` where he gets none."""
    _producer(session, producer_id)
    before = choice_of(session, producer_id)
    if before is None or before.choice == STOPPED:
        raise Refused(
            "no-messages-wanted",
            "No messages are sent to this producer.",
            field="producer",
            remedy="Nothing more is to be done.",
        )
    return _choice(session, producer_id, before.address, STOPPED, how, by, now)


def _choice(
    session: Session, producer_id: int, address: str, choice: str, how: str, by: str, now: datetime
) -> MessageChoice:
    row = MessageChoice(
        producer_id=producer_id,
        channel=EMAIL,
        address=address,
        choice=choice,
        how=how.strip(),
        by=by,
        at=now,
    )
    session.add(row)
    session.flush()
    return row


def _producer(session: Session, producer_id: int) -> Producer:
    row = session.scalar(select(Producer).where(Producer.id == producer_id))
    if row is None:
        raise NotFound(
            "unknown-producer",
            f"There is no producer {producer_id}.",
            field="producer",
            remedy="`tracker producers` lists them.",
        )
    return row
