"""Whether the tables that answers are made from still say what the log says: weights, analyses, plans, reports."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Any

from sqlalchemy import BigInteger, BindParameter, bindparam, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from tracker.domain.log_entry import as_shown, digest, values_digest
from tracker.storage.analysis import Analysis, ResultFile, ResultValue
from tracker.storage.bulk import read_raw
from tracker.storage.coring import Plan
from tracker.storage.custody import EventRow
from tracker.storage.intake import Weighing
from tracker.storage.results import ReportVersion

Told = tuple[int | None, str]
# A plan's event: its number, the sample, and what it says.
Issued = tuple[int, int, str]
# Rows looked at together; a file or a report is larger than a weight.
MANY, SOME = 1_000, 50
# Beyond every number that a row can have.
NO_END = 2**62


def table_faults(session: Session) -> Iterator[Told]:
    """Each row that says something else than its event, but for plans: the event's number and a sentence.

    Text is held against text first. Only what differs is read, since that may be the same in other words.
    """
    yield from _weighings(session)
    yield from _analyses(session)
    yield from _files(session)
    yield from _reports(session)


_AFTER: BindParameter[int] = bindparam("after", type_=BigInteger)
_LAST: BindParameter[int] = bindparam("last", type_=BigInteger)


def _portions(session: Session, key: InstrumentedAttribute[int], many: int) -> Iterator[dict[str, int]]:
    """Bounds that part a table into so many rows each: behind `after`, up to `last`."""
    some = select(key.label("key")).where(key > _AFTER).order_by(key).limit(many).subquery()
    wanted, after = select(func.max(some.c.key)), -NO_END
    while (last := session.connection().scalar(wanted, {"after": after})) is not None:
        yield {"after": after, "last": last}
        after = last


def _weighings(session: Session) -> Iterator[Told]:
    wanted = (
        select(EventRow.seq, EventRow.data, Weighing.grams, Weighing.balance)
        .join(EventRow, EventRow.event_id == Weighing.event_id)
        .where(Weighing.id > _AFTER, Weighing.id <= _LAST)
    )
    for bounds in _portions(session, Weighing.id, MANY):
        for seq, raw, grams, balance in read_raw(session, wanted, **bounds):
            data = _data(raw)
            if data.get("changes"):
                data = {**data, **data["changes"]}
            if data.get("grams", grams) != grams or (data.get("balance") or balance) != balance:
                yield (
                    seq,
                    f"The weighing of entry {seq} shows {grams} g, and the log {data.get('grams')} g.",
                )


def _analyses(session: Session) -> Iterator[Told]:
    wanted = (
        select(Analysis.id, EventRow.seq, EventRow.data)
        .join(EventRow, EventRow.event_id == Analysis.event_id)
        .where(Analysis.id > _AFTER, Analysis.id <= _LAST)
    )
    kept = select(
        *(ResultValue.analysis_id, ResultValue.constituent, ResultValue.value, ResultValue.unit),
        *(ResultValue.basis, ResultValue.method, ResultValue.calibration, ResultValue.qualifier),
    ).where(ResultValue.analysis_id > _AFTER, ResultValue.analysis_id <= _LAST)
    for bounds in _portions(session, Analysis.id, MANY):
        values = defaultdict(list)
        for analysis, *value in read_raw(session, kept, **bounds):
            values[analysis].append(value)
        for analysis, seq, raw in read_raw(session, wanted, **bounds):
            logged = _data(raw).get("values_sha256")
            # Seasons from before the log was signed have none.
            if logged is not None and logged not in _digests(session, analysis, values[analysis]):
                yield seq, f"The values of analysis {analysis} (entry {seq}) are not those that were logged."


def _digests(session: Session, analysis: int, values: list[list[Any]]) -> Iterator[str]:
    """The values' hash from the text as kept, and where that is not enough from the numbers."""
    yield digest(sorted(values))
    yield values_digest(session.scalars(select(ResultValue).where(ResultValue.analysis_id == analysis)))


def _files(session: Session) -> Iterator[Told]:
    wanted = select(ResultFile.name, ResultFile.sha256, ResultFile.content)
    wanted = wanted.where(ResultFile.id > _AFTER, ResultFile.id <= _LAST)
    for bounds in _portions(session, ResultFile.id, SOME):
        for name, hashed, content in read_raw(session, wanted, **bounds):
            if sha256(content).hexdigest() != hashed:
                yield None, f"The kept file {name} is not the one that was taken in."


def plan_faults(session: Session, issued: Sequence[Issued]) -> Iterator[Told]:
    """Each plan that is not what one of these events issued."""
    kept = defaultdict(list)
    for sample, version, body in read_raw(session, _PLANS, samples=[one[1] for one in issued]):
        kept[sample].append((version, body))
    for seq, sample, raw in issued:
        for version, body in kept[sample]:
            plan = _data(body)
            if plan and raw == f'{{"body":{body},"plan":{version}}}':
                continue
            data = _data(raw)
            if data.get("plan") == version and data.get("body") not in (None, plan):
                yield seq, f"Plan {version} of entry {seq} is not the one that was issued."


_PLANS = select(Plan.sample_id, Plan.version, Plan.body).where(
    Plan.sample_id.in_(bindparam("samples", expanding=True))
)


def _reports(session: Session) -> Iterator[Told]:
    wanted = (
        select(EventRow.seq, EventRow.data, ReportVersion.number, ReportVersion.body)
        .join(EventRow, EventRow.event_id == ReportVersion.event_id)
        .where(ReportVersion.id > _AFTER, ReportVersion.id <= _LAST)
    )
    for bounds in _portions(session, ReportVersion.id, SOME):
        for seq, raw, number, body in read_raw(session, wanted, **bounds):
            data = _data(raw)
            if data.get("report") != number:
                yield (
                    seq,
                    f"Entry {seq} issued {data.get('report')}, and the report is kept as {number}.",
                )
            elif "body" in data and data["body"] not in _bodies(body):
                yield seq, f"Report {number} (entry {seq}) does not say what was issued."


def _bodies(raw: str) -> Iterator[str | None]:
    """The body's hash from the text as kept, and where that is not enough from what of it leaves the house."""
    yield sha256(raw.encode()).hexdigest()
    yield _digest(raw)


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
