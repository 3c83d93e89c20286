"""Take in the plain rows of a file many at a time; whatever is not plain is left to the way of one row after another.

Plain is a row whose tag is on one bag, of a sample that is not on hold or signed away, has no analysis yet and no
corrected entry, scanned after all that is recorded of it. Its event is judged by the same rules and written with
the same log entries; only what the rules need is read for hundreds of samples at once.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.admission import check
from tracker.domain.custody import Act, Event, Holder, Standing, after
from tracker.domain.findings import Finding
from tracker.domain.log_entry import Happened, values_digest
from tracker.domain.tag import BOUND, code_in
from tracker.domain.times import moment, offset_minutes
from tracker.errors import Refused
from tracker.files.results_file import ResultRow
from tracker.steps.append_event import with_findings
from tracker.steps.judge_analysis import judged_values
from tracker.steps.sign_log import enter_many
from tracker.storage.analysis import Analysis, ResultFile, ResultValue
from tracker.storage.bulk import add_many, change_many, new_ids
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, StandingRow, next_seq, projection
from tracker.storage.kept import practice_in_force
from tracker.storage.log import last_leaves, numbers_of
from tracker.storage.lots import Lot
from tracker.storage.tags import Tag, TagContest

AT_ONCE = 500
# Who has the sample follows from the last of these; where a correction is among them, the whole life is read.
_HOLDING = ("bagged", "received", "stored", "taken out", "archived")
_CORRECTIONS = ("amended", "undone")
_EVENT = (
    *("seq", "event_id", "kind", "lot_id", "sample_id", "occurred_at", "occurred_offset", "device_at"),
    *("recorded_at", "by", "role", "device", "note", "late_reason", "data"),
)
_ANALYSIS = ("id", "event_id", "sample_id", "file_id", "line", "scanned_at", "findings")
_VALUE = ("analysis_id", "constituent", "value", "unit", "basis", "method", "calibration", "qualifier")


@dataclass(frozen=True, slots=True)
class Plain:
    """A sample that a row may be taken in for at once, and as what the rules see it."""

    code: str
    sample: int
    lot: int
    forage: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A row that was judged and is not written yet."""

    row: ResultRow
    plain: Plain
    scan: Act
    event: Event
    findings: tuple[Finding, ...]
    stands: Standing


class ManyAtOnce:
    """The plain rows of one file: look at a portion, take its rows one by one, write what was taken."""

    def __init__(
        self, session: Session, file: ResultFile, source: str, kind: str, instrument: str | None, act: Act
    ) -> None:
        self.session = session
        self.file = file
        self.source = source
        self.kind = kind
        self.instrument = instrument
        self.act = act
        self.practice = practice_in_force(session)
        self._plain: dict[str, Plain] = {}
        self._waiting: list[_Waiting] = []

    def look(self, rows: Iterable[ResultRow]) -> None:
        """Read what is known of the samples that these rows name."""
        codes = {
            row.sample_text: code for row in rows if not row.problems and (code := _code(row.sample_text))
        }
        known = _plain_samples(self.session, set(codes.values()))
        self._plain = {text: known[code] for text, code in codes.items() if code in known}

    def take(self, row: ResultRow, seen: Container[int]) -> tuple[Plain, tuple[Finding, ...]] | None:
        """The sample and what is to be said of the values, or None where the row is not plain.

        seen: samples that stood in the file before.
        """
        plain = self._plain.get(row.sample_text)
        if plain is None or plain.sample in seen:
            return None
        at = self.act.at if row.scanned_at is None else moment(row.scanned_at)
        scan = replace(self.act, at=at, event_id=str(uuid4()))
        if plain.standing.last_at is None or scan.occurred_at < plain.standing.last_at:
            return None
        findings = judged_values(row.values, plain.forage, self.practice)[1]
        data = analysis_data(row, self.file, self.source, self.instrument, str(scan.event_id))
        event = _event(self.kind, scan, with_findings(data, findings))
        try:
            check(plain.standing, event)
        except Refused:
            # The way of one row after another says why in full.
            return None
        self._waiting.append(_Waiting(row, plain, scan, event, findings, after(plain.standing, event)))
        return plain, findings

    def write(self) -> None:
        """Write what was taken; to be called before anything else enters the log."""
        if not self._waiting:
            return
        session, waiting, self._waiting = self.session, self._waiting, []
        session.flush()
        # Asked before the new events are there, which are the last of their lives then.
        leaves = last_leaves(session, [one.plain.sample for one in waiting])
        first = next_seq(session)
        ids = new_ids(session, Analysis, len(waiting))
        add_many(session, EventRow, _EVENT, (_event_values(one, first + n) for n, one in enumerate(waiting)))
        parties = numbers_of(session, {self.act.by.key})
        enter_many(session, [_happened(one, first + n, parties) for n, one in enumerate(waiting)], leaves)
        rows = zip(ids, waiting, strict=True)
        add_many(session, Analysis, _ANALYSIS, (self._analysis_values(id_, one) for id_, one in rows))
        pairs = zip(ids, waiting, strict=True)
        add_many(session, ResultValue, _VALUE, ((id_, *v) for id_, one in pairs for v in one.row.values))
        stands = [(*projection(one.stands).values(), one.plain.sample) for one in waiting]
        change_many(session, StandingRow, tuple(projection(Standing())), "sample_id", stands)
        for kept in session.identity_map.values():
            if isinstance(kept, StandingRow):
                session.expire(kept)

    def _analysis_values(self, id_: int, one: _Waiting) -> tuple[Any, ...]:
        said = [finding.as_data() for finding in one.findings]
        return id_, one.event.event_id, one.plain.sample, self.file.id, one.row.line, one.row.scanned_at, said


def analysis_data(
    row: ResultRow, file: ResultFile, source: str, instrument: str | None, event_id: str
) -> dict[str, Any]:
    """What the event of an analysis keeps of where it came from."""
    return {
        "analysis": event_id,
        "source": source,
        "instrument": instrument,
        "file_sha256": file.sha256,
        "line": str(row.line),
        "scanned_at": row.scanned_at,
        "values_sha256": values_digest(row.values),
    }


def _code(text: str) -> str:
    try:
        return code_in(text)
    except Refused:
        return ""


def _plain_samples(session: Session, codes: Iterable[str]) -> dict[str, Plain]:
    contested = select(TagContest.id).where(TagContest.tag_id == Tag.id).exists()
    analysed = select(Analysis.id).where(Analysis.sample_id == Sample.id).exists()
    wanted = (
        select(Tag.code, Sample.id, Sample.lot_id, Lot.forage, StandingRow.state, StandingRow.holder)
        .add_columns(StandingRow.code, StandingRow.seal, StandingRow.last_at)
        .join(Sample, Sample.id == Tag.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .where(Tag.code.in_(codes), Tag.state == BOUND, ~contested, ~analysed)
        .where(StandingRow.hold.is_(None), StandingRow.transfer_to.is_(None))
    )
    rows = session.execute(wanted).all()
    holders = _holders(session, [row[1] for row in rows])
    found = {}
    for code, sample, lot, forage, state, holder, bag, seal, last_at in rows:
        has_it = holders.get(sample)
        if has_it is not None and has_it.party == holder:
            standing = Standing(state, has_it, code=bag, seal=seal, last_at=last_at)
            found[code] = Plain(code, sample, lot, forage, standing)
    return found


def _holders(session: Session, samples: Sequence[int]) -> dict[int, Holder]:
    """Who has each of these samples, as they were then; one with a correction in its life is left out."""
    wanted = (
        select(EventRow.sample_id, EventRow.kind, EventRow.by, EventRow.role, EventRow.data)
        .where(EventRow.sample_id.in_(samples), EventRow.kind.in_((*_HOLDING, *_CORRECTIONS)))
        .order_by(EventRow.occurred_at, EventRow.seq)
    )
    found: dict[int, Holder] = {}
    corrected = set()
    for sample, kind, by, role, data in session.execute(wanted):
        if kind in _CORRECTIONS:
            corrected.add(sample)
        elif kind in ("stored", "archived"):
            place = data["place"]
            found[sample] = Holder(place["party"], place["kind"], place["role"], bool(place["secure"]))
        else:
            found[sample] = Holder(by, "person", role)
    return {sample: holder for sample, holder in found.items() if sample not in corrected}


def _event(kind: str, scan: Act, data: dict[str, Any]) -> Event:
    return Event(
        # Its number is drawn when it is written; no rule of a plain row asks for it.
        seq=0,
        event_id=str(scan.event_id),
        kind=kind,
        occurred_at=scan.occurred_at,
        recorded_at=scan.now,
        by=scan.by.key,
        role=scan.by.role,
        data=data,
        note=scan.note,
        late_reason=scan.late_reason,
        clock_doubted=scan.clock_doubted,
        device=scan.device,
    )


def _device_at(scan: Act) -> str | None:
    return scan.at.isoformat() if scan.at > scan.now else None


def _event_values(one: _Waiting, seq: int) -> tuple[Any, ...]:
    event, scan = one.event, one.scan
    return (
        *(seq, event.event_id, event.kind, one.plain.lot, one.plain.sample, event.occurred_at),
        *(offset_minutes(scan.at), _device_at(scan), event.recorded_at, event.by, event.role),
        *(event.device, event.note, event.late_reason, event.data),
    )


def _happened(one: _Waiting, seq: int, parties: dict[str, int]) -> Happened:
    event = one.event
    said = {
        "note": event.note,
        "late_reason": event.late_reason,
        "device": event.device,
        "device_at": _device_at(one.scan),
    }
    return Happened(
        seq=seq,
        event_id=event.event_id,
        kind=event.kind,
        sample=one.plain.sample,
        lot=one.plain.lot,
        tag=None,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        by=event.by,
        role=event.role,
        data=event.data,
        said=said,
        parties=parties,
    )
