"""Whether the tables that answers are made from still say what the log says: weights, analyses, plans, reports."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Text, select, type_coerce
from sqlalchemy.orm import Session

from tracker.domain.log_entry import as_shown, digest, values_digest
from tracker.storage.analysis import Analysis, ResultFile, ResultValue
from tracker.storage.coring import Plan
from tracker.storage.custody import EventRow
from tracker.storage.intake import Weighing
from tracker.storage.results import ReportVersion

Told = tuple[int | None, str]
_RAW = type_coerce(EventRow.data, Text)
AT_ONCE = 500


def table_faults(session: Session) -> Iterator[Told]:
    """Each row that says something else than its event: the event's number and a sentence."""
    yield from _weighings(session)
    yield from _analyses(session)
    yield from _files(session)
    yield from _plans(session)
    yield from _reports(session)


def _weighings(session: Session) -> Iterator[Told]:
    shown = type_coerce(Weighing.grams, Text)
    wanted = select(EventRow.seq, _RAW.label("raw"), shown.label("grams"), Weighing.balance)
    for row in session.execute(wanted.join(EventRow, EventRow.event_id == Weighing.event_id)):
        data = _data(row.raw)
        data = {**data, **(data.get("changes") or {})}
        if ("grams" in data and data["grams"] != row.grams) or (
            data.get("balance") or row.balance
        ) != row.balance:
            yield (
                row.seq,
                f"The weighing of entry {row.seq} shows {row.grams} g, and the log {data.get('grams')} g.",
            )


def _analyses(session: Session) -> Iterator[Told]:
    values: dict[int, list[ResultValue]] = defaultdict(list)
    for value in session.scalars(select(ResultValue)):
        values[value.analysis_id].append(value)
    wanted = select(Analysis.id, EventRow.seq, _RAW.label("raw"))
    for row in session.execute(wanted.join(EventRow, EventRow.event_id == Analysis.event_id)):
        logged = _data(row.raw).get("values_sha256")
        # Seasons from before the log was signed have none.
        if logged is not None and values_digest(values[row.id]) != logged:
            yield (
                row.seq,
                f"The values of analysis {row.id} (entry {row.seq}) are not those that were logged.",
            )


def _files(session: Session) -> Iterator[Told]:
    wanted = select(ResultFile.name, ResultFile.sha256, ResultFile.content)
    for row in session.execute(wanted.execution_options(yield_per=AT_ONCE)):
        if hashlib.sha256(row.content).hexdigest() != row.sha256:
            yield None, f"The kept file {row.name} is not the one that was taken in."


def _plans(session: Session) -> Iterator[Told]:
    issued: dict[tuple[int | None, Any], tuple[int, Any]] = {}
    wanted = select(EventRow.seq, EventRow.sample_id, _RAW.label("raw")).where(EventRow.kind == "plan issued")
    for row in session.execute(wanted):
        data = _data(row.raw)
        issued[row.sample_id, data.get("plan")] = row.seq, data.get("body")
    body = type_coerce(Plan.body, Text)
    for plan in session.execute(select(Plan.sample_id, Plan.version, body.label("raw"))):
        seq, logged = issued.get((plan.sample_id, plan.version), (None, None))
        if logged is not None and _data(plan.raw) != logged:
            yield seq, f"Plan {plan.version} of entry {seq} is not the one that was issued."


def _reports(session: Session) -> Iterator[Told]:
    body = type_coerce(ReportVersion.body, Text)
    wanted = select(EventRow.seq, _RAW.label("raw"), ReportVersion.number, body.label("body"))
    for row in session.execute(wanted.join(EventRow, EventRow.event_id == ReportVersion.event_id)):
        data = _data(row.raw)
        if data.get("report") != row.number:
            yield (
                row.seq,
                f"Entry {row.seq} issued {data.get('report')}, and the report is kept as {row.number}.",
            )
        elif "body" in data and _digest(row.body) != data["body"]:
            yield row.seq, f"Report {row.number} (entry {row.seq}) does not say what was issued."


def _data(raw: str) -> dict[str, Any]:
    try:
        found = json.loads(raw)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _digest(raw: str) -> str | None:
    try:
        return digest(as_shown(json.loads(raw)))
    except (ValueError, TypeError, AttributeError):
        return None
