"""Every event goes into the signed log as it happens; a head is signed where custody or a report depends on it.

An entry costs a few hashes, however long the log is: the tree's right edge is all that is needed.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.canonical import canonical
from tracker.domain.log_entry import SALT_BYTES, entry_of, seal, words_of
from tracker.domain.signed_head import Head
from tracker.domain.tree import Edge, leaf_hash
from tracker.errors import Refused
from tracker.files.key_file import KeyFile, SigningKey
from tracker.storage.custody import EventRow
from tracker.storage.log import (
    edge,
    edge_before,
    entries,
    happened,
    keep_entries,
    keep_entry,
    keep_head,
    last_head,
    last_signed_at,
    previous_leaf,
)

# Where somebody else will rely on the log from now on.
SIGNED_AT = ("relinquished", "received", "transfer refused", "transfer cancelled", "stored", "reported")
# No entry waits longer for a signature while the log is in use.
EVERY = timedelta(hours=1)


def enter(session: Session, row: EventRow) -> None:
    """Write the event, and any before it that is not in the log yet, and sign a head where one is due."""
    tree = _caught_up(session, row.seq)
    _write(session, row, tree)
    _sign_where_due(session, row.kind, row.recorded_at)


def enter_many(
    session: Session,
    numbers: range,
    kind: str,
    heard: datetime,
    texts: Callable[[Sequence[bytes]], Sequence[str]],
) -> None:
    """Write the entries of as many lives, each of which has one of them; events of one kind, heard of together.

    texts: gives the entries when it is told their salts.
    """
    tree = _caught_up(session, numbers.start)
    drawn = secrets.token_bytes(SALT_BYTES * len(numbers))
    salts = [drawn[at : at + SALT_BYTES] for at in range(0, len(drawn), SALT_BYTES)]
    written = texts(salts)
    nodes = [node for text in written for node in tree.add(leaf_hash(text.encode()))]
    keep_entries(session, zip(numbers, written, strict=True), zip(numbers, salts, strict=True), nodes)
    _sign_where_due(session, kind, heard)


def _caught_up(session: Session, seq: int) -> Edge:
    """The tree over every event before this number, with those that are not in the log yet written first."""
    tree = _edge_before(session, seq)
    if tree.size < seq - 1:
        wanted = select(EventRow).where(EventRow.seq > tree.size, EventRow.seq < seq).order_by(EventRow.seq)
        for missed in session.scalars(wanted):
            _write(session, missed, tree)
    return tree


def _sign_where_due(session: Session, kind: str, heard: datetime) -> None:
    # An entry that waited for another was heard of long before it is written; a head is dated when it is signed.
    clock: Callable[[], datetime] = session.info["clock"]
    now = max(heard, clock())
    if kind in SIGNED_AT or _hour_is_over(session, now):
        # A key that cannot be read must not keep a bag from being handed over; the audit and the doctor say it.
        with suppress(Refused):
            sign(session, now)


def catch_up(session: Session) -> int:
    """Write every event that is not in the log yet, and return how many; a season from before the log has some."""
    tree = edge(session, entries(session))
    wanted = select(EventRow).where(EventRow.seq > tree.size).order_by(EventRow.seq)
    missed = session.scalars(wanted).all()
    for row in missed:
        _write(session, row, tree)
    return len(missed)


def sign(session: Session, now: datetime) -> Head | None:
    """Sign a head over the whole log and keep it; the last one, where nothing was added since.

    None while there is no key or no entry: what happened is recorded all the same, and the audit says that it is
    not signed. Raises Refused `log-key-unreadable`.
    """
    key = _key(session)
    size = entries(session) if key else 0
    if key is None or size == 0:
        return None
    head = key.signed(size, _edge_before(session, size + 1).root())
    last = last_head(session)
    if last is None or last.note != str(head):
        keep_head(session, head.size, str(head), now)
        session.info["signed at"] = now
    return head


def is_due(session: Session, now: datetime) -> bool:
    """Whether entries have waited an hour for a head, and there is a key to sign with."""
    last, size = last_head(session), entries(session)
    waiting = size > (last.size if last else 0)
    return waiting and (last is None or _an_hour_apart(now, last.at)) and _key(session) is not None


def _write(session: Session, row: EventRow, tree: Edge) -> None:
    event = happened(session, row)
    salt = secrets.token_bytes(SALT_BYTES)
    text = canonical(entry_of(event, seal(salt, words_of(event)), previous_leaf(session, row)))
    keep_entry(session, row.seq, text.decode(), salt, tree.add(leaf_hash(text)))


def _edge_before(session: Session, seq: int) -> Edge:
    """The right edge, from the last entry of this very session where it was that."""
    kept: Edge | None = session.info.get("log edge")
    # What was rolled back meanwhile would leave another size.
    if kept is None or kept.size != seq - 1:
        kept = edge_before(session, seq)
        session.info["log edge"] = kept
    return kept


def _hour_is_over(session: Session, now: datetime) -> bool:
    """Whether the last head is older than that; asked of the table once in a session."""
    if "signed at" not in session.info:
        session.info["signed at"] = last_signed_at(session)
    signed_at: datetime | None = session.info["signed at"]
    return signed_at is None or _an_hour_apart(now, signed_at)


def _an_hour_apart(now: datetime, signed_at: datetime) -> bool:
    # Behind a head that a clock gone astray dated ahead, nothing would be signed until that hour had come.
    return abs(now - signed_at) >= EVERY


def _key(session: Session) -> SigningKey | None:
    file: KeyFile | None = session.info.get("key file")
    return None if file is None else file.key()
