"""The one way an event enters the log: judged against the sample's whole life, numbered, and projected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from tracker.domain import custody, tag
from tracker.domain.admission import admit, admit_from_field
from tracker.domain.custody import Act, Event, Standing
from tracker.domain.findings import CAUTION, HOLD, Finding
from tracker.domain.times import offset_minutes
from tracker.steps.sign_log import enter
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow, events_of, keep_event, keep_standing, next_seq
from tracker.storage.tags import Tag
from tracker.storage.tallies import tally_answer, tally_label


def on_sample(
    session: Session,
    kind: str,
    sample: Sample,
    data: Mapping[str, Any],
    act: Act,
    *,
    findings: Sequence[Finding] = (),
    tag_id: int | None = None,
) -> EventRow:
    """Add an event to a sample's life. Findings stay with it; one of level "hold" puts the sample on hold.

    Raises Refused as domain.admission.admit.
    """
    kept = with_findings(data, findings)
    row = _row(session, kind, act, kept, lot_id=sample.lot_id, sample_id=sample.id, tag_id=tag_id)
    standing = _admitted(session, row, act)
    _keep(session, row)
    keep_standing(session, sample.id, standing)
    if kind in ("cored", "received") and standing.analyses:
        # Heard of late: the sample may have its report, which took longer than was known then.
        tally_answer(session, sample.id)
    return row


def with_findings(data: Mapping[str, Any], findings: Sequence[Finding]) -> dict[str, Any]:
    """The event's data with what was remarked, and with the words of a hold where one follows from it."""
    kept = dict(data)
    if findings:
        kept["findings"] = [finding.as_data() for finding in findings]
    stopping = [finding.words for finding in findings if finding.level == HOLD]
    if stopping:
        kept["hold"] = " ".join(stopping)
    return kept


def _admitted(session: Session, row: EventRow, act: Act) -> Standing:
    """Where the sample stands with the row added; one from the field may be moved to where it makes sense."""
    before, new = events_of(session, int(row.sample_id or 0)), _as_new(row, act)
    if not act.origin:
        return admit(before, new)
    event, standing, doubt = admit_from_field(before, new, act.reach)
    row.late_reason = event.late_reason
    if event.occurred_at != new.occurred_at:
        row.occurred_at = event.occurred_at
        row.data = {**row.data, "origin": {**act.origin, "moved_from": new.occurred_at.isoformat()}}
    if doubt:
        found = [*row.data.get("findings", ()), Finding("order-doubted", CAUTION, doubt).as_data()]
        row.data = {**row.data, "findings": found}
    return standing


def on_lot(session: Session, kind: str, lot_id: int, data: Mapping[str, Any], act: Act) -> EventRow:
    """Add an event about a lot that has no sample yet."""
    row = _row(session, kind, act, data, lot_id=lot_id)
    _keep(session, row)
    return row


def on_tag(session: Session, kind: str, subject: Tag, data: Mapping[str, Any], act: Act) -> EventRow:
    """Add an event to a tag's life and move it to the state that follows. Raises as domain.tag.after."""
    subject.state = tag.after(subject.state, kind, code=subject.code)
    row = _row(
        session, kind, act, data, sample_id=subject.sample_id, tag_id=subject.id, lot_id=subject.lot_id
    )
    # A tag's events belong to its own life and not to the sample's: the sample's chain is told by `bagged` and
    # `tag replaced`, which name the code.
    row.sample_id = None
    _keep(session, row)
    return row


def on_programme(session: Session, kind: str, data: Mapping[str, Any], act: Act) -> EventRow:
    """Add an event of the season as a whole, such as a new key of the log."""
    row = _row(session, kind, act, data)
    _keep(session, row)
    return row


def late_words(session: Session, sample: Sample, at: datetime, why: str) -> str:
    """`why`, where something that happened after `at` is recorded of the sample already; else nothing."""
    last = session.get_one(StandingRow, sample.id).last_at
    return why if at < last else ""


def following(act: Act, number: int | None = None) -> Act:
    """The same act for an event that follows from the one the device knows of; it gets a name of its own.

    number: which of several that are all named by the device's one event, such as the sacks of a load.
    """
    event_id = f"{act.event_id}.{number}" if act.event_id and number is not None else None
    return replace(act, event_id=event_id)


def _keep(session: Session, row: EventRow) -> None:
    keep_event(session, row)
    tally_label(session, row)
    enter(session, row)


def _row(
    session: Session,
    kind: str,
    act: Act,
    data: Mapping[str, Any],
    *,
    lot_id: int | None = None,
    sample_id: int | None = None,
    tag_id: int | None = None,
) -> EventRow:
    return EventRow(
        seq=next_seq(session),
        event_id=act.event_id or str(uuid4()),
        kind=kind,
        lot_id=lot_id,
        sample_id=sample_id,
        tag_id=tag_id,
        occurred_at=act.occurred_at,
        occurred_offset=offset_minutes(act.at),
        device_at=act.at.isoformat() if act.at > act.now else None,
        recorded_at=act.now,
        by=act.by.key,
        role=act.by.role,
        device=act.device,
        note=act.note,
        late_reason=act.late_reason,
        data={**data, "origin": dict(act.origin)} if act.origin else dict(data),
    )


def _as_new(row: EventRow, act: Act) -> Event:
    return Event(
        seq=row.seq,
        event_id=row.event_id,
        kind=row.kind,
        occurred_at=act.occurred_at,
        recorded_at=act.now,
        by=row.by,
        role=row.role,
        data=row.data,
        note=row.note,
        late_reason=row.late_reason,
        clock_doubted=act.clock_doubted,
        device=row.device,
    )


def project_anew(session: Session, sample_id: int) -> None:
    """Make the row beside the log again from the sample's events."""
    keep_standing(session, sample_id, custody.fold(events_of(session, sample_id)))


def standing_of(session: Session, sample: Sample) -> Standing:
    """Where the sample stands now, from the log itself."""
    return custody.fold(events_of(session, sample.id))
