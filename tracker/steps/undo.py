"""Take back what was entered just now. The entry stays in the log, and counts for nothing."""

from __future__ import annotations

from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import NotFound, Refused
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, Undone
from tracker.storage.tallies import tally_dry_again

# Ten seconds to see a slip, and two for the answer to travel.
WINDOW = timedelta(seconds=12)
# What leaves nothing else behind than the entry itself and its weight.
UNDOABLE = (
    "received",
    "seal broken",
    "tare weighed",
    "fresh weighed",
    "dry weighed",
    "dry weighed again",
    "coarse ground",
    "fine ground",
    "stored",
    "taken out",
)


def undo(session: Session, seq: int, act: Act) -> EventRow:
    """Take back the entry with this number: the sample's last, by the same person, within ten seconds.

    Raises NotFound `unknown-entry`, Refused `not-undoable`, `too-late-to-undo`.
    """
    target = session.get(EventRow, seq)
    if target is None or target.sample_id is None:
        raise NotFound(
            "unknown-entry", f"There is no entry {seq}.", field="event", remedy="Look at the sample's way."
        )
    last = session.scalar(
        select(EventRow.seq)
        .where(EventRow.sample_id == target.sample_id)
        .order_by(EventRow.seq.desc())
        .limit(1)
    )
    if target.kind not in UNDOABLE or target.by != act.by.key or last != seq:
        raise Refused(
            "not-undoable",
            f"Entry {seq} ({target.kind}) cannot be taken back by {act.by.key}.",
            field="event",
            remedy="Correct it with a reason instead; both stay to be seen.",
        )
    # Where the clock went back meanwhile, nobody knows how long ago it was.
    if abs(act.now - target.recorded_at) > WINDOW:
        raise Refused(
            "too-late-to-undo",
            f"Entry {seq} is more than ten seconds old.",
            field="event",
            remedy="Correct it with a reason instead; both stay to be seen.",
        )
    sample = session.get_one(Sample, target.sample_id)
    event = on_sample(session, "undone", sample, {"target": target.event_id, "kind": target.kind}, act)
    session.add(Undone(event_id=target.event_id, by_event_id=event.event_id))
    session.flush()
    tally_dry_again(session, sample.id)
    return event
