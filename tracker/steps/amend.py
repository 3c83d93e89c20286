"""Correct an entry: a new event names the old one, what changes, and why. The original stays as it was."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain import dry_matter, intake
from tracker.domain.custody import LAB_ROLES, Act
from tracker.domain.findings import Finding
from tracker.domain.units import grams, number, positive, whole
from tracker.errors import NotFound, Refused
from tracker.steps.append_event import on_sample
from tracker.steps.core_lot import entry_read
from tracker.steps.print_tags import require_reason
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.intake import Weighing, reading_of, tare_of, weighings_in_force
from tracker.storage.kept import practice_in_force
from tracker.storage.tallies import tally_dry_again

Reader = Callable[[str, str], str]


def _grams(text: str, field: str) -> str:
    return str(grams(text, field=field))


def _positive(text: str, field: str) -> str:
    return str(positive(text, field=field))


def _number(text: str, field: str) -> str:
    return str(number(text, field=field))


def _count(text: str, field: str) -> str:
    return str(whole(text, field=field, least=1))


def _words(text: str, field: str) -> str:
    if not text.strip():
        raise Refused(
            "entry-incomplete", f"{field} is empty.", field=field, remedy="Write what it should be."
        )
    return " ".join(text.split())


def _side(text: str, field: str) -> str:
    return entry_read(text, field=field)


_WEIGHING: dict[str, Reader] = {"grams": _grams, "balance": _words}
_GRIND: dict[str, Reader] = {"screen_mm": _positive, "mill": _words}
# What may be corrected. Who and where are not among it: a wrong hand-over is mended by another hand-over.
AMENDABLE: dict[str, dict[str, Reader]] = {
    "cored": {"cores_taken": _count, "entry": _side, "composite_g": _grams, "weather": _words},
    "sealed": {"seal": _words},
    "received": {"seal_read": _words, "temperature_c": _number, "discrepancy": _words},
    "seal broken": {"seal_read": _words},
    "tare weighed": _WEIGHING,
    "fresh weighed": _WEIGHING,
    "dry weighed": _WEIGHING,
    "dry weighed again": _WEIGHING,
    "oven in": {"set_celsius": _positive},
    "coarse ground": _GRIND,
    "fine ground": _GRIND,
}


def amend(session: Session, seq: int, changes: Mapping[str, str], act: Act, *, reason: str) -> EventRow:
    """Correct the entry with this number. changes: field -> what it should be.

    A corrected weight is judged like a weighing, and may put the sample on hold. Raises NotFound
    `unknown-entry`, Refused `reason-missing`, `entry-incomplete`, `not-amendable`, `not-allowed`, and what reads
    and judges the new values.
    """
    require_reason(reason)
    target = session.get(EventRow, seq)
    if target is None or target.sample_id is None:
        raise NotFound(
            "unknown-entry",
            f"There is no entry {seq} in a sample's way.",
            field="event",
            remedy="`tracker way` shows each entry with its number.",
        )
    if not changes:
        raise Refused(
            "entry-incomplete",
            "Nothing is to be corrected.",
            field="changes",
            remedy="Say what it should be.",
        )
    readers = AMENDABLE.get(target.kind, {})
    read: dict[str, Any] = {}
    for field, text in changes.items():
        if field not in readers:
            raise Refused(
                "not-amendable",
                f"{field!r} of {target.kind!r} cannot be corrected.",
                field=field,
                remedy=f"Can be: {', '.join(readers)}."
                if readers
                else "Record what happened as a new entry.",
            )
        read[field] = readers[field](text, field)
    sample = session.get_one(Sample, target.sample_id)
    data = {"target": target.event_id, "target_kind": target.kind, "changes": read, "reason": reason.strip()}
    if not _may_amend(target, act):
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not correct what {target.by} recorded.",
            field="by",
            remedy="Whoever recorded it corrects it, or somebody of the laboratory.",
        )
    if "grams" not in read and "balance" not in read:
        return on_sample(session, "amended", sample, data, act)
    corrected = _corrected_weighing(session, target, read)
    event = on_sample(session, "amended", sample, data, act, findings=_judged(session, sample, corrected))
    corrected.event_id = event.event_id
    session.add(corrected)
    session.flush()
    tally_dry_again(session, sample.id)
    return event


def _may_amend(target: EventRow, act: Act) -> bool:
    return act.by.key == target.by or act.by.role in LAB_ROLES


def _corrected_weighing(session: Session, target: EventRow, read: Mapping[str, Any]) -> Weighing:
    """The corrected reading, beside the one it corrects or beside that one's last correction."""
    old = session.scalars(select(Weighing).where(Weighing.event_id == target.event_id)).one()
    while later := session.scalar(select(Weighing).where(Weighing.corrects_id == old.id)):
        old = later
    return Weighing(
        sample_id=old.sample_id,
        what=old.what,
        grams=grams(read["grams"], field="grams") if "grams" in read else old.grams,
        zeroed=old.zeroed,
        step=old.step,
        batch_n=None if "grams" in read else old.batch_n,
        batch_sd=None if "grams" in read else old.batch_sd,
        balance=str(read.get("balance", old.balance)),
        weighed_at=old.weighed_at,
        corrects_id=old.id,
    )


def _judged(session: Session, sample: Sample, corrected: Weighing) -> tuple[Finding, ...]:
    """What is to be said of the sample's weights with the corrected one in its place.

    Raises Refused `gross-not-above-tare` and `tare-missing`, as the weighing itself would have.
    """
    rows = {row.what: row for row in weighings_in_force(session, sample.id)} | {corrected.what: corrected}
    tare = tare_of(rows["tare"]) if "tare" in rows else None
    readings = {what: reading_of(row) for what, row in rows.items() if what in ("fresh", "dry", "dry again")}
    for reading in readings.values():
        intake.net_of(reading, tare)
    if "fresh" not in readings or "dry" not in readings:
        return ()
    practice = practice_in_force(session)
    return dry_matter.dm_findings(tare, readings["fresh"], readings["dry"], practice)
