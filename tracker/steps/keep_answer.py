"""Keep the first answer to a program's act under the key it came with: whoever asks again gets it again, for ever."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.errors import Conflict
from tracker.storage.clients import ApiAnswer


def first_answer(session: Session, client_id: int, key: str, body_hash: str) -> ApiAnswer | None:
    """What was answered under this key; None where nothing was. Raises Conflict `key-used` for another body."""
    row = session.scalar(select(ApiAnswer).where(ApiAnswer.client_id == client_id, ApiAnswer.key == key))
    if row is not None and row.body_hash != body_hash:
        raise Conflict(
            "key-used",
            "Another request came with this Idempotency-Key.",
            field="Idempotency-Key",
            remedy="Nothing was changed. Give every new act a key of its own; a UUID does well.",
        )
    return row


def keep_answer(
    session: Session,
    client_id: int,
    key: str,
    body_hash: str,
    status: int,
    answer: Mapping[str, Any],
    now: datetime,
) -> ApiAnswer:
    """Keep it, in the act that it answers."""
    row = ApiAnswer(
        client_id=client_id, key=key, body_hash=body_hash, status=status, answer=dict(answer), at=now
    )
    session.add(row)
    session.flush()
    return row
