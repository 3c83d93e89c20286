"""Whether the tables that answers are made from still say what the log says: weights, analyses, plans, reports."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from typing import Any

from sqlalchemy import (
    BigInteger,
    BindParameter,
    Text,
    and_,
    bindparam,
    case,
    cast,
    false,
    func,
    literal,
    or_,
    select,
    true,
    type_coerce,
)
from sqlalchemy.orm import InstrumentedAttribute, Session

from tracker.domain.intake import WEIGHING_EVENTS
from tracker.domain.log_entry import as_shown, digest, values_digest
from tracker.storage.analysis import Analysis, ResultFile, ResultValue
from tracker.storage.bulk import read_in_parts, read_raw
from tracker.storage.coring import Plan
from tracker.storage.custody import EventRow, Undone
from tracker.storage.intake import Weighing
from tracker.storage.results import ReportVersion

Told = tuple[int | None, str]
# Rows looked at together; a file or a report is larger than a weight.
MANY, SOME = 1_000, 50
# Beyond every number that a row can have.
NO_END = 2**62
# The event that holds a plan whole.
PLANNED = "plan issued"
ANALYSED, REPORTED, UNDONE = ("scanned", "analysed outside"), "reported", "undone"
# A correction has a row of its own where it changes what the balance showed, or which balance it was.
AMENDED = "amended"
_WEIGHTS = {"grams", "balance"}
# No weight and no spread of weights has so many.
_MOST_DIGITS = 100


def table_faults(session: Session) -> Iterator[Told]:
    """Each row that says something else than its event, and each event whose row is gone: its number and a sentence.

    Text is held against text first. Only what differs is read, since that may be the same in other words.
    """
    yield from _rows_gone(session)
    yield from _plans_of_nobody(session)
    yield from _taken_back(session)
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
    """Each row that no event weighed, or that says something else than the event which did."""
    for bounds in _portions(session, Weighing.id, MANY):
        rows = read_raw(session, _WEIGHED, **bounds)
        corrected = [row[1] for row in rows if row[1] is not None]
        before = {old[0]: old[1:] for old in read_raw(session, _BEFORE, ids=corrected)} if corrected else {}
        for what, corrects, seq, kind, raw, *values in rows:
            said, row, data = values[-1], tuple(values[:-1]), _data(raw)
            logged: tuple[Any, ...] | None = None
            if kind == AMENDED:
                logged = _put_right(what, seq, said, data, before.get(corrects))
            elif corrects is None and kind is not None and kind == WEIGHING_EVENTS.get(what):
                logged = _weighed(said, data)
            if logged is None:
                yield (
                    seq,
                    f"A row kept as weighed {what} is of entry {seq or 'none'}, which did not weigh that.",
                )
            elif row != logged:
                yield seq, f"The weighing of entry {seq} is not what was logged: {_differing(row, logged)}."


# What a weighing's row says that a weight rests on; each must follow from the row's event.
_SAYS = ("sample_id", "grams", "balance", "zeroed", "step", "batch_n", "batch_sd")
# Nearly every weighing says three things; its event is held against them as text where text cannot mislead.
_WORDS = type_coerce(Weighing.grams, Text) + Weighing.balance
_THREE = (
    literal('{"balance":"')
    + Weighing.balance
    + '","grams":"'
    + type_coerce(Weighing.grams, Text)
    + '","zeroed":'
    + case((Weighing.zeroed.is_(true()), "true"), (Weighing.zeroed.is_(false()), "false"))
    + "}"
)
_PLAINLY = and_(
    type_coerce(EventRow.data, Text) == _THREE,
    EventRow.kind == case(WEIGHING_EVENTS, value=Weighing.what),
    EventRow.sample_id == Weighing.sample_id,
    *(one.is_(None) for one in (Weighing.step, Weighing.batch_n, Weighing.batch_sd, Weighing.corrects_id)),
    *(~_WORDS.contains(one, autoescape=True) for one in ('"', "\\")),
)
# All others are read.
_WEIGHED = (
    select(Weighing.what, Weighing.corrects_id, EventRow.seq, EventRow.kind, EventRow.data)
    .add_columns(*(getattr(Weighing, name) for name in _SAYS), EventRow.sample_id)
    .outerjoin_from(Weighing, EventRow, EventRow.event_id == Weighing.event_id)
    .where(Weighing.id > _AFTER, Weighing.id <= _LAST, func.coalesce(_PLAINLY, false()).is_(false()))
)
# The rows that were put right by others.
_BEFORE = (
    select(Weighing.id, Weighing.what, EventRow.seq, EventRow.event_id, EventRow.kind, EventRow.data)
    .add_columns(*(getattr(Weighing, name) for name in _SAYS))
    .join_from(Weighing, EventRow, EventRow.event_id == Weighing.event_id)
    .where(Weighing.id.in_(bindparam("ids", expanding=True)))
)


def _weighed(sample: int | None, data: dict[str, Any]) -> tuple[Any, ...]:
    """The row that follows from the event of a weighing, as the driver gives it."""
    count = data.get("batch_n")
    return (
        *(sample, _digits(data.get("grams")), data.get("balance") or "", data.get("zeroed")),
        *(_digits(data.get("step")), None if count is None else _count(count), _digits(data.get("batch_sd"))),
    )


def _put_right(
    what: str, seq: int, sample: int | None, data: dict[str, Any], before: Sequence[Any] | None
) -> tuple[Any, ...] | None:
    """The row that follows from a correction and the row before it; None where that is no row it could correct."""
    changes = _changes(data)
    if (
        before is None
        or not _WEIGHTS & changes.keys()
        or data.get("target_kind") != WEIGHING_EVENTS.get(what)
    ):
        return None
    what_before, seq_before, event, kind, raw, _, grams, balance, zeroed, step, *batch = before
    # A second correction stands on the first, and both name the weighing itself.
    named = _data(raw).get("target") if kind == AMENDED else event
    if what_before != what or seq_before >= seq or data.get("target") != named:
        return None
    if "grams" in changes:
        grams, batch = _digits(changes["grams"]), [None, None]
    return (sample, grams, changes.get("balance", balance), zeroed, step, *batch)


def _differing(row: tuple[Any, ...], logged: tuple[Any, ...]) -> str:
    pairs = zip(_SAYS, row, logged, strict=True)
    return ", ".join(f"{name} {kept}, logged {said}" for name, kept, said in pairs if kept != said)


def _changes(data: dict[str, Any]) -> dict[str, Any]:
    """What a correction changes; empty where it is no correction."""
    found = data.get("changes")
    return found if isinstance(found, dict) else {}


def _digits(said: Any) -> str | None:
    """A decimal as its column keeps it; None where no weight was said, or one with digits without end."""
    try:
        number = Decimal(said) if isinstance(said, str) else None
    except InvalidOperation:
        return None
    if number is None or not number.is_finite() or abs(number.adjusted()) > _MOST_DIGITS:
        return None
    return format(number, "f")


def _count(said: Any) -> int | None:
    return int(said) if isinstance(said, str) and said.isdecimal() and len(said) < 10 else None


def _rows_gone(session: Session) -> Iterator[Told]:
    """Each event that must have a row and has none, or another one where the row is what it says: a plan."""
    for rows in read_in_parts(session, _ROWLESS, MANY):
        for seq, kind, sample, raw in rows:
            if kind == PLANNED:
                yield from _plans(session, seq, sample, _data(raw))
            elif kind != AMENDED or _WEIGHTS & _changes(_data(raw)).keys():
                yield seq, f"Entry {seq} ({kind}) has no {_ROW_OF[kind]} any more."


def _plans(session: Session, seq: int, sample: int, data: dict[str, Any]) -> Iterator[Told]:
    kept = read_raw(session, _KEPT_PLANS, sample=sample)
    for version, body in kept:
        if data.get("plan") == version and data.get("body") not in (None, _data(body)):
            yield seq, f"Plan {version} of entry {seq} is not the one that was issued."
    if data.get("plan") not in [version for version, _ in kept]:
        yield seq, f"Entry {seq} issued plan {data.get('plan')}, which is not kept any more."


def _plans_of_nobody(session: Session) -> Iterator[Told]:
    """Each plan that no entry issued."""
    for rows in read_in_parts(session, _UNISSUED, MANY):
        for sample, version in rows:
            issued = read_raw(session, _ISSUED, sample=sample)
            if version not in [_data(raw).get("plan") for (raw,) in issued]:
                yield None, f"Plan {version} of sample {sample} was issued by no entry."


def _taken_back(session: Session) -> Iterator[Told]:
    """Each row of what was taken back that is of no entry which took that back."""
    wanted = select(Undone.event_id, EventRow.seq, EventRow.kind, EventRow.data)
    wanted = wanted.outerjoin_from(Undone, EventRow, EventRow.event_id == Undone.by_event_id)
    for rows in read_in_parts(session, wanted, MANY):
        for event, seq, kind, raw in rows:
            if kind != UNDONE or _data(raw).get("target") != event:
                yield (
                    seq,
                    f"Event {event} is kept as taken back by entry {seq or 'none'}, which did not do that.",
                )


_KEPT_PLANS = select(Plan.version, Plan.body).where(Plan.sample_id == bindparam("sample"))
# The kinds of events that must have a row, what it is, and where it names its event.
_ROWED: tuple[tuple[Collection[str], str, InstrumentedAttribute[str]], ...] = (
    ((*WEIGHING_EVENTS.values(), AMENDED), "weighing", Weighing.event_id),
    (ANALYSED, "analysis", Analysis.event_id),
    ((REPORTED,), "report", ReportVersion.event_id),
    ((UNDONE,), "row of what it took back", Undone.by_event_id),
)
_ROW_OF = {kind: what for kinds, what, _ in _ROWED for kind in kinds}
_PLANNED_SO = literal('{"body":') + type_coerce(Plan.body, Text) + ',"plan":' + cast(
    Plan.version, Text
) + "}" == type_coerce(EventRow.data, Text)
_ROWLESS = select(EventRow.seq, EventRow.kind, EventRow.sample_id, EventRow.data).where(
    or_(
        *(
            EventRow.kind.in_(kinds) & ~select(event_id).where(event_id == EventRow.event_id).exists()
            for kinds, _, event_id in _ROWED
        ),
        (EventRow.kind == PLANNED)
        & ~select(Plan.id).where(Plan.sample_id == EventRow.sample_id, _PLANNED_SO).exists(),
    )
)
_ISSUED = select(EventRow.data).where(EventRow.kind == PLANNED, EventRow.sample_id == bindparam("sample"))
_UNISSUED = select(Plan.sample_id, Plan.version).where(
    ~select(EventRow.seq)
    .where(EventRow.sample_id == Plan.sample_id, EventRow.kind == PLANNED, _PLANNED_SO)
    .exists()
)


def _analyses(session: Session) -> Iterator[Told]:
    wanted = (
        select(
            Analysis.id, Analysis.sample_id, EventRow.seq, EventRow.kind, EventRow.sample_id, EventRow.data
        )
        .outerjoin(EventRow, EventRow.event_id == Analysis.event_id)
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
        for analysis, sample, seq, kind, said, raw in read_raw(session, wanted, **bounds):
            if kind not in ANALYSED or sample != said:
                yield (
                    seq,
                    f"Analysis {analysis} is of entry {seq or 'none'}, which is none of sample {sample}.",
                )
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


def _reports(session: Session) -> Iterator[Told]:
    wanted = (
        select(EventRow.seq, EventRow.kind, EventRow.sample_id, EventRow.data)
        .add_columns(ReportVersion.sample_id, ReportVersion.number, ReportVersion.body)
        .outerjoin_from(ReportVersion, EventRow, EventRow.event_id == ReportVersion.event_id)
        .where(ReportVersion.id > _AFTER, ReportVersion.id <= _LAST)
    )
    for bounds in _portions(session, ReportVersion.id, SOME):
        for seq, kind, said, raw, sample, number, body in read_raw(session, wanted, **bounds):
            data = _data(raw)
            if kind != REPORTED or sample != said:
                yield (
                    seq,
                    f"Report {number} is of entry {seq or 'none'}, which reported nothing of sample {sample}.",
                )
            elif data.get("report") != number:
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


def _data(raw: Any) -> dict[str, Any]:
    try:
        found = json.loads(raw)
    except (ValueError, TypeError):
        return {}
    return found if isinstance(found, dict) else {}


def _digest(raw: str) -> str | None:
    try:
        return digest(as_shown(json.loads(raw)))
    except (ValueError, TypeError, AttributeError):
        return None
