"""Samples with where they stand and what was found, and every released number one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.lookups.exports.table import Cells, Column, Table, read
from tracker.lookups.page import USUAL, Key, Page, require_key
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.results import ReportVersion

# What stands in a row of its own of every sample; the rest is in the table of results.
HEADLINE = ("CP", "ADF", "NDF")
# A report is a large thing once it is read.
REPORTS_AT_ONCE = 10


def _samples(session: Session, season: int | None) -> Iterator[Cells]:
    wanted = (
        select(
            Sample.id,
            Lot.id,
            Sample.number,
            Producer.name,
            Field.name,
            Lot.season,
            Lot.cutting,
            Lot.part,
            Lot.forage,
            StandingRow.code,
            StandingRow.state,
            StandingRow.holder,
            StandingRow.hold,
            ReportVersion.number,
            ReportVersion.body,
        )
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .outerjoin(ReportVersion, _latest())
        .order_by(Sample.id)
    )
    for *known, body in read(session, _of(wanted, season), REPORTS_AT_ONCE):
        yield (*known, *_found(body or {}))


def _found(body: Mapping[str, Any]) -> Iterator[object]:
    """What the report's body says of a sample's own columns; nothing where there is no report."""
    told, cored, dm = (body.get(part) or {} for part in ("sample", "cored", "dry_matter"))
    yield _moment(told.get("sampled_at"))
    yield _moment(told.get("received_at"))
    yield None if cored.get("cores") is None else int(cored["cores"])
    yield cored.get("entry")
    for name in ("partial", "partial_margin", "total", "total_margin"):
        yield _number(dm.get(name))
    results = {row["code"]: row for row in body.get("results", ())}
    for code in HEADLINE:
        yield _number(results.get(code, {}).get("dm"))
        yield _number(results.get(code, {}).get("margin"))


def _results(session: Session, season: int | None) -> Iterator[Cells]:
    for row in read(session, _of(_reports().order_by(Sample.id), season), REPORTS_AT_ONCE):
        yield from _released(*row)


def results_page(
    session: Session, season: int | None = None, after: Key = (), limit: int = USUAL
) -> Page[dict[str, object]]:
    """The released values by sample, constituent, method and formula, a page of them, each by the table's columns.

    Raises Refused `not-a-cursor`.
    """
    if after:
        require_key([int, str, str, str], after)
    names = [column.name for column in RESULTS.columns]
    found: list[tuple[Key, dict[str, object]]] = []
    for row in _reports_from(session, season, int(after[0]) if after else 0):
        lines = (dict(zip(names, cells, strict=True)) for cells in _released(*row))
        keyed = ((_key(line), line) for line in lines)
        found += sorted((one for one in keyed if one[0] > after), key=lambda one: one[0])
        if len(found) > limit:
            break
    shown = tuple(line for _, line in found[:limit])
    return Page(shown, found[limit - 1][0] if len(found) > limit else None)


def _key(line: Mapping[str, object]) -> Key:
    return (
        int(str(line["sample"])),
        *(str(line[part] or "") for part in ("constituent", "method", "formula")),
    )


def _reports_from(session: Session, season: int | None, sample: int) -> Iterator[Any]:
    """The latest reports from this sample on, so many at a time; each time the database is asked for a few."""
    wanted = _of(_reports().order_by(Sample.id).limit(REPORTS_AT_ONCE), season)
    rows = session.execute(wanted.where(Sample.id >= sample)).all()
    while rows:
        yield from rows
        rows = session.execute(wanted.where(Sample.id > rows[-1][0])).all()


def _reports() -> Any:
    return (
        select(Sample.id, Lot.id, StandingRow.code, ReportVersion.number, ReportVersion.body)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .join(ReportVersion, _latest())
    )


def _released(
    sample: int, lot: int, code: str | None, report: str, body: Mapping[str, Any]
) -> Iterator[Cells]:
    """A report's values, line by line."""
    for row in body.get("results", ()):
        yield (sample, lot, code, report, *_measured(row))
    for row in body.get("derived", ()):
        if row.get("value") is not None:
            yield (sample, lot, code, report, *_calculated(row))


def _measured(row: Mapping[str, Any]) -> Cells:
    return (
        row["code"],
        row["name"],
        row["unit"],
        _number(row["dm"]),
        _number(row.get("margin")),
        _number(row.get("ar")),
        row.get("qualifier") or "",
        row.get("method") or "",
        row.get("calibration") or "",
        row.get("source") or "",
        row.get("scanned_at"),
        "",
    )


def _calculated(row: Mapping[str, Any]) -> Cells:
    value, margin = _number(row["value"]), _number(row.get("margin"))
    return (
        row["code"],
        row["name"],
        row["unit"],
        value,
        margin,
        None,
        "",
        row.get("source") or "",
        "",
        "",
        None,
        row.get("formula") or "",
    )


def _latest() -> Any:
    """That a report version is the latest of the sample."""
    newest = select(func.max(ReportVersion.version)).where(ReportVersion.sample_id == Sample.id)
    latest = newest.correlate(Sample).scalar_subquery()
    return (ReportVersion.sample_id == Sample.id) & (ReportVersion.version == latest)


def _of(wanted: Any, season: int | None) -> Any:
    return wanted if season is None else wanted.where(Lot.season == season)


def _number(text: object) -> Decimal | None:
    return None if text is None else Decimal(str(text))


def _moment(text: object) -> datetime | None:
    return None if text is None else datetime.fromisoformat(str(text))


def _headline() -> Iterator[Column]:
    for code in HEADLINE:
        yield Column(code, f"{code}, % of dry matter", "number", "%")
        yield Column(f"{code}_margin", "± at 95 %, in the same unit", "number", "%")


SAMPLES = Table(
    "samples",
    "Every sample: its hay, where it stands, and the headline of its latest report.",
    (
        Column("sample", "number of the sample", "integer"),
        Column("lot", "number of its lot", "integer"),
        Column("number", "1 for the first sample of the lot", "integer"),
        Column("producer", "who owns the hay"),
        Column("field", "where it grew"),
        Column("season", "year of harvest", "integer"),
        Column("cutting", "1 for the first of the season", "integer"),
        Column("part", "A, B, ... of a lot that was too large"),
        Column("forage", "what grew"),
        Column("code", "the tag's code"),
        Column("state", "where the sample stands"),
        Column("holder", "short name of who has it"),
        Column("hold", "why testing waits"),
        Column("report", "number of the latest report"),
        Column("sampled_at", "when the coring ended", "moment"),
        Column("received_at", "when the laboratory received it", "moment"),
        Column("cores", "cores really taken", "integer"),
        Column("entry", "side or end"),
        Column("partial_dm", "dry matter after the oven, % of the mass as received", "number", "%"),
        Column("partial_dm_margin", "± at 95 %", "number", "%"),
        Column("total_dm", "total dry matter, % of the mass as received", "number", "%"),
        Column("total_dm_margin", "± at 95 %", "number", "%"),
        *_headline(),
    ),
    _samples,
)
RESULTS = Table(
    "results",
    "Every number of the latest report of each sample: measured ones with method, calculated ones with formula.",
    (
        Column("sample", "number of the sample", "integer"),
        Column("lot", "number of its lot", "integer"),
        Column("code", "the tag's code"),
        Column("report", "number of the report"),
        Column("constituent", "short name"),
        Column("name", "what it is"),
        Column("unit", "unit of the value"),
        Column("value", "on dry matter, or as the unit says", "number"),
        Column("margin", "± at 95 %, in the same unit; empty where none is known", "number"),
        Column("as_received", "as received, where that has a meaning", "number"),
        Column("qualifier", "< or > where the source said so"),
        Column("method", "method, or source of the formula"),
        Column("calibration", "calibration of the instrument"),
        Column("source", "instrument or laboratory"),
        Column("scanned_at", "as the source gave it"),
        Column("formula", "of a calculated value; empty for a measured one"),
    ),
    _results,
)
