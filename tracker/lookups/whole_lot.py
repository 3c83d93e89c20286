"""A lot with everything that is known of it, for its bundle: plain values, and nobody's sign-in name."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from tracker.domain.log_entry import as_shown, words_of
from tracker.errors import Conflict
from tracker.files.lot_bundle import FORM
from tracker.settings import Settings
from tracker.storage.analysis import Analysis, analyses_of
from tracker.storage.coring import Sample, samples_of
from tracker.storage.custody import EventRow
from tracker.storage.log import EntrySalt, LogEntry, happened
from tracker.storage.lots import Lot, lot_numbered
from tracker.storage.people import PartyRow
from tracker.storage.results import ReportVersion


def whole_lot(session: Session, number: int, settings: Settings) -> dict[str, Any]:
    """What lot.json says. Raises NotFound `unknown-lot`, Conflict `log-behind`."""
    lot = lot_numbered(session, number)
    samples = samples_of(session, number)
    events = _events(session, number)
    producer = lot.field.producer
    return {
        "form": FORM,
        "base": settings.base_url.rstrip("/"),
        "programme": {"name": settings.programme, "address": settings.address, "phone": settings.phone},
        "producer": {"name": producer.name, "place": producer.place},
        "lot": _lot(lot),
        "samples": [{"sample": one.id, "number": one.number} for one in samples],
        "people": _people(session, events),
        "events": events,
        "analyses": [_analysis(row) for one in samples for row in _in_order(session, one)],
        "reports": [_report(row) for row in reports_of(session, number)],
    }


def _lot(lot: Lot) -> dict[str, Any]:
    return {
        "number": lot.id,
        "field": lot.field.name,
        "cutting": lot.cutting,
        "season": lot.season,
        "part": lot.part,
        "forage": lot.forage,
        "harvested": lot.harvested.isoformat(),
        "bale_shape": lot.bale_shape,
        "bale_count": lot.bale_count,
        "bale_mass": None if lot.bale_mass is None else format(lot.bale_mass, "f"),
        "bale_mass_unit": lot.bale_mass_unit,
        "storage": lot.storage,
        "note": lot.note,
    }


def reports_of(session: Session, lot: int) -> list[ReportVersion]:
    """Every version of every report of the lot, oldest first."""
    wanted = select(ReportVersion).join(Sample, Sample.id == ReportVersion.sample_id)
    return list(session.scalars(wanted.where(Sample.lot_id == lot).order_by(ReportVersion.id)))


def _events(session: Session, lot: int) -> list[dict[str, Any]]:
    """The lot's own events and its samples', in the order of the log; tags have lives of their own."""
    wanted = (
        select(EventRow, LogEntry.entry, EntrySalt.salt)
        .outerjoin(LogEntry, LogEntry.seq == EventRow.seq)
        .outerjoin(EntrySalt, EntrySalt.seq == EventRow.seq)
        .where(EventRow.lot_id == lot, or_(EventRow.sample_id.is_not(None), EventRow.tag_id.is_(None)))
        .order_by(EventRow.seq)
    )
    return [_event(session, *row) for row in session.execute(wanted)]


def _event(session: Session, row: EventRow, entry: str | None, salt: bytes | None) -> dict[str, Any]:
    if entry is None:
        raise Conflict(
            "log-behind",
            f"Event {row.seq} is not in the signed log yet.",
            field="lot",
            remedy="Run `tracker init`: it writes what an older program left out.",
        )
    words = None if salt is None else words_of(happened(session, row))
    return {"entry": json.loads(entry), "words": words, "salt": "" if salt is None else salt.hex()}


def _people(session: Session, events: list[dict[str, Any]]) -> dict[str, Any]:
    named = {one["entry"]["by"] for one in events}
    for one in events:
        for part in (*one["entry"]["data"].values(), *((one["words"] or {}).get("data") or {}).values()):
            if isinstance(part, dict) and part.get("party"):
                named.add(part["party"])
    rows = session.execute(select(PartyRow.id, PartyRow.name, PartyRow.kind))
    return {f"p{row.id}": {"name": row.name, "kind": row.kind} for row in rows if f"p{row.id}" in named}


def _in_order(session: Session, sample: Sample) -> list[Analysis]:
    return sorted(analyses_of(session, sample.id), key=lambda row: row.id)


def _analysis(row: Analysis) -> dict[str, Any]:
    source = row.file.map.source
    return {
        "event": row.event_id,
        "source": source.name,
        "outside": source.kind == "laboratory",
        "file": {"name": row.file.name, "sha256": row.file.sha256, "line": row.line},
        "scanned_at": row.scanned_at,
        "values": [
            {
                "constituent": one.constituent,
                "value": format(one.value, "f"),
                "unit": one.unit,
                "basis": one.basis,
                "method": one.method,
                "calibration": one.calibration,
                "qualifier": one.qualifier,
            }
            for one in row.values
        ],
    }


def _report(row: ReportVersion) -> dict[str, Any]:
    return {
        "number": row.number,
        "version": row.version,
        "event": row.event_id,
        "reason": row.reason,
        "body": as_shown(row.body),
    }
