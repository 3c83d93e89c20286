"""What goes with a report so that anybody can prove it: its sample's entries, the path to a signed head, the head.

The form is described in, and checked by, tracker/custody_check.py, which needs nothing of this program.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.custody_check import FORM
from tracker.domain.canonical import canonical
from tracker.domain.log_entry import as_shown, words_of
from tracker.domain.signed_head import Head, PublicKey, read_head, signed_by
from tracker.domain.tree import inclusion, leaf_hash
from tracker.errors import TrackerError
from tracker.storage.custody import EventRow
from tracker.storage.log import EntrySalt, LogEntry, first_head_over, happened, node
from tracker.storage.results import ReportVersion


@dataclass(frozen=True)
class Proof:
    """A report's custody record. entries: how many of its sample; seq, leaf: the last one's number and hash.

    content: the record, byte for byte.
    """

    entries: int
    seq: int
    leaf: bytes
    head: Head
    key: PublicKey
    content: bytes


def proof_of(session: Session, report: ReportVersion) -> Proof | None:
    """The report's proof; None where it is not signed: no key, no head over it yet, or issued before the log was."""
    issued = session.scalars(select(EventRow).where(EventRow.event_id == report.event_id)).one()
    row = first_head_over(session, issued.seq)
    if row is None or "body" not in issued.data or issued.sample_id is None:
        return None
    head = read_head(row.note)
    key = signed_by(head, public_keys(session))
    if key is None:
        return None
    events = _events(session, issued)
    content = {
        "form": FORM,
        "key": str(key),
        "head": str(head),
        "events": events,
        "index": issued.seq - 1,
        "proof": [one.hex() for one in inclusion(issued.seq - 1, head.size, lambda at: node(session, at))],
        "report": as_shown(report.body),
    }
    leaf = leaf_hash(canonical(events[-1]["entry"]))
    return Proof(len(events), issued.seq, leaf, head, key, canonical(content) + b"\n")


def public_keys(session: Session) -> tuple[PublicKey, ...]:
    """Every public key of the log, from the key's file; none where it is not at hand."""
    file = session.info.get("key file")
    try:
        key = None if file is None else file.key()
    except TrackerError:
        return ()
    return () if key is None else tuple(key.known)


def _events(session: Session, issued: EventRow) -> list[dict[str, Any]]:
    """The entries from the lot's first to the report's, each following the one before, with their words."""
    wanted = (
        select(EventRow, LogEntry.entry, EntrySalt.salt)
        .join(LogEntry, LogEntry.seq == EventRow.seq)
        .outerjoin(EntrySalt, EntrySalt.seq == EventRow.seq)
        .order_by(EventRow.seq)
    )
    of_sample = wanted.where(EventRow.sample_id == issued.sample_id, EventRow.seq <= issued.seq)
    found = session.execute(of_sample).all()
    of_lot = wanted.where(
        EventRow.lot_id == issued.lot_id, EventRow.sample_id.is_(None), EventRow.tag_id.is_(None)
    )
    before = session.execute(of_lot.where(EventRow.seq < found[0][0].seq)).all()
    return [_event(session, *row) for row in (*before, *found)]


def _event(session: Session, row: EventRow, entry: str, salt: bytes | None) -> dict[str, Any]:
    if salt is None:
        return {"entry": json.loads(entry), "words": None, "salt": ""}
    return {"entry": json.loads(entry), "words": words_of(happened(session, row)), "salt": salt.hex()}
