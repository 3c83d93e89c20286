"""Take in the plain rows of a file many at a time; whatever is not plain is left to the way of one row after another.

Plain is a row whose tag is on one bag, of a sample that is not on hold or signed away, has no analysis yet and no
corrected entry, scanned after all that is recorded of it. Its event is judged by the same rules and written with
the same log entries. Only what the rules need is read for hundreds of samples at once; what rows share (a time of
scan, where their samples stand, the form of their events) is worked out once for all of them.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, lru_cache
from typing import Any, NamedTuple
from uuid import uuid4

from sqlalchemy.orm import Session

from tracker.domain.admission import check
from tracker.domain.canonical import Form, bare, canonical, hole
from tracker.domain.custody import Act, Event, Standing, after
from tracker.domain.entry_form import EntryForm
from tracker.domain.findings import Finding
from tracker.domain.judging import Judge
from tracker.domain.log_entry import Happened, entry_of, seal, texts_digest, words_of
from tracker.domain.lot import FORAGE_KINDS
from tracker.domain.tag import code_in
from tracker.domain.times import moment, offset_minutes
from tracker.errors import Refused
from tracker.files.results_file import ResultRow
from tracker.steps.append_event import with_findings
from tracker.steps.judge_analysis import judged_values
from tracker.steps.plain_samples import Plain, PlainSamples, holder_by
from tracker.steps.sign_log import enter_many
from tracker.storage.analysis import Analysis, ResultFile, ResultValue
from tracker.storage.bulk import TOGETHER, add_many, change_many, new_ids, writer
from tracker.storage.custody import EventRow, StandingRow, next_seq
from tracker.storage.kept import practice_in_force
from tracker.storage.log import numbers_of

AT_ONCE = 500
# Times of scan, and ways in which samples stand, that are known again; beyond so many the oldest are forgotten.
_KNOWN_AGAIN = 2048
_EVENT = (
    *("seq", "event_id", "kind", "lot_id", "sample_id", "occurred_at", "occurred_offset", "device_at"),
    *("recorded_at", "by", "role", "device", "note", "late_reason", "data"),
)
_ANALYSIS = ("id", "event_id", "sample_id", "file_id", "line", "scanned_at", "findings")
_VALUE = ("analysis_id", "constituent", "value", "unit", "basis", "method", "calibration", "qualifier")
_STANDS = ("state", "hold", "last_at")
# What each event's data has of its own; all else in it is the file's.
_OWN = {
    "analysis": hole("event_id"),
    "line": hole("line"),
    "scanned_at": bare("scanned_at"),
    "values_sha256": hole("digest"),
}


@dataclass(frozen=True, slots=True)
class _Scan:
    """The act at one time of scan.

    occurred_at: also kept as the driver has it and written as the log does; scanned_at: as JSON has it.
    """

    act: Act
    occurred_at: datetime
    kept: Any
    written: str
    offset: int
    device_at: str | None
    scanned_at: str


class _Waiting(NamedTuple):
    """A row that was judged and is not written yet."""

    row: ResultRow
    plain: Plain
    scan: _Scan
    event_id: str
    digest: str
    findings: tuple[Finding, ...]


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
        self.write_moment = writer(session, EventRow, "occurred_at")
        self.recorded_at = self.write_moment(act.now)
        known_again = lru_cache(_KNOWN_AGAIN)
        self.scan_at = known_again(self._scan_at)
        self.samples = PlainSamples(session, known_again(self._state_after))
        self.judge = known_again(self._judge)
        self._plain: dict[str, Plain] = {}
        self._waiting: list[_Waiting] = []

    def look(self, rows: Iterable[ResultRow]) -> None:
        """Read what is known of the samples that these rows name."""
        codes = {
            row.sample_text: code for row in rows if not row.problems and (code := _code(row.sample_text))
        }
        known = self.samples.with_codes(list(set(codes.values())))
        self._plain = {text: known[code] for text, code in codes.items() if code in known}

    def take(self, row: ResultRow, seen: Container[int]) -> tuple[Plain, tuple[Finding, ...]] | None:
        """The sample and what is to be said of the values, or None where the row is not plain.

        seen: samples that stood in the file before.
        """
        plain = self._plain.get(row.sample_text)
        if plain is None or plain.sample in seen:
            return None
        scan = self.scan_at(row.scanned_at)
        if scan.kept < plain.last_at:
            return None
        findings = judged_values(row.values, self.judge(plain.forage))
        digest = texts_digest([one.written for one in row.values])
        self._waiting.append(_Waiting(row, plain, scan, str(uuid4()), digest, findings))
        return plain, findings

    def write(self) -> None:
        """Write what was taken; to be called before anything else enters the log."""
        if not self._waiting:
            return
        session, waiting, self._waiting = self.session, self._waiting, []
        session.flush()
        first = next_seq(session)
        numbers = range(first, first + len(waiting))
        own = [_own(one, seq) for seq, one in zip(numbers, waiting, strict=True)]
        add_many(session, EventRow, _EVENT, map(self._event_values, waiting, own))

        enter_many(
            session,
            numbers,
            self.kind,
            self.act.now,
            lambda salts: list(map(self._entry, waiting, own, salts)),
        )
        ids = new_ids(session, Analysis, len(waiting))
        add_many(session, Analysis, _ANALYSIS, map(self._analysis_values, ids, waiting))
        pairs = zip(ids, waiting, strict=True)
        values = [(id_, *value.kept) for id_, one in pairs for value in one.row.values]
        add_many(session, ResultValue, _VALUE, values, together=TOGETHER)
        stands = [(one.plain.state, _hold(one), one.scan.kept, one.plain.sample) for one in waiting]
        change_many(session, StandingRow, _STANDS, "sample_id", stands)
        for kept in session.identity_map.values():
            if isinstance(kept, StandingRow):
                session.expire(kept)

    def _scan_at(self, scanned_at: str | None) -> _Scan:
        act = self.act if scanned_at is None else replace(self.act, at=moment(scanned_at))
        occurred_at = act.occurred_at
        return _Scan(
            act,
            occurred_at,
            self.write_moment(occurred_at),
            occurred_at.isoformat(),
            offset_minutes(act.at),
            act.at.isoformat() if act.at > act.now else None,
            "null" if scanned_at is None else f'"{scanned_at}"',
        )

    def _state_after(self, state: str, holder: str, by: str, role: str, place: str) -> str | None:
        """What follows for a sample that stands so; None where a rule of custody is against it.

        No rule asks when it happened or which analysis it is, once the row is plain.

        by, role, place: the event by which it came there.
        """
        has_it = holder_by(by, role, place)
        if has_it.party != holder:
            return None
        standing = Standing(state, has_it)
        event = self._event(self.scan_at(None), "any", {"analysis": "any"})
        try:
            check(standing, event)
        except Refused:
            return None
        return after(standing, event).state

    def _judge(self, forage: str) -> Judge:
        return Judge(FORAGE_KINDS[forage], self.practice)

    @cached_property
    def _parties(self) -> Mapping[str, int]:
        return numbers_of(self.session, {self.act.by.key})

    @cached_property
    def _forms(self) -> tuple[Form, EntryForm] | None:
        """The data and the entry of an event of which nothing is remarked, with holes for what is its own.

        None where a word of the file's looks like a hole: the forms are held against a row written by itself.
        """
        row = ResultRow(2, "", "2026-06-21T06:30:00-05:00", (), (), ())
        salt, leaf = b"8" * 16, b"9" * 32
        plain = Plain("", 3, 4, "", "", None, leaf)
        scan = replace(self.scan_at(row.scanned_at), device_at=None)
        one = _Waiting(row, plain, scan, "5", "6", ())
        data = self._data(one)
        happened = self._happened(one, 7, data)
        own = _own(one, 7)
        forms = Form({**data, **_OWN}), EntryForm(happened, _OWN)
        alike = forms[0].filled(own).encode() == canonical(data) and forms[1].write(
            own, salt, leaf
        ) == _entry_text(happened, salt, leaf)
        return forms if alike else None

    def _event_values(self, one: _Waiting, own: Mapping[str, Any]) -> tuple[Any, ...]:
        plain, scan, act = one.plain, one.scan, self.act
        if one.findings or self._forms is None:
            data = canonical(self._data(one)).decode()
        else:
            data = self._forms[0].filled(own)
        return (
            own["seq"],
            one.event_id,
            self.kind,
            plain.lot,
            plain.sample,
            scan.kept,
            scan.offset,
            scan.device_at,
            self.recorded_at,
            act.by.key,
            act.by.role,
            act.device,
            act.note,
            act.late_reason,
            data,
        )

    def _entry(self, one: _Waiting, own: Mapping[str, Any], salt: bytes) -> str:
        if one.findings or one.scan.device_at or self._forms is None:
            return _entry_text(self._happened(one, own["seq"], self._data(one)), salt, one.plain.leaf)
        return self._forms[1].write(own, salt, one.plain.leaf)

    def _analysis_values(self, id_: int, one: _Waiting) -> tuple[Any, ...]:
        said = canonical([finding.as_data() for finding in one.findings]).decode() if one.findings else "[]"
        return id_, one.event_id, one.plain.sample, self.file.id, one.row.line, one.row.scanned_at, said

    def _data(self, one: _Waiting) -> dict[str, Any]:
        data = analysis_data(one.row, self.file, self.source, self.instrument, one.event_id, one.digest)
        return with_findings(data, one.findings)

    def _event(self, scan: _Scan, event_id: str, data: Mapping[str, Any]) -> Event:
        act = scan.act
        return Event(
            # Its number is drawn when it is written; no rule of a plain row asks for it.
            seq=0,
            event_id=event_id,
            kind=self.kind,
            occurred_at=scan.occurred_at,
            recorded_at=act.now,
            by=act.by.key,
            role=act.by.role,
            data=data,
            note=act.note,
            late_reason=act.late_reason,
            clock_doubted=act.clock_doubted,
            device=act.device,
        )

    def _happened(self, one: _Waiting, seq: int, data: Mapping[str, Any]) -> Happened:
        act = one.scan.act
        said = {
            "note": act.note,
            "late_reason": act.late_reason,
            "device": act.device,
            "device_at": one.scan.device_at,
        }
        return Happened(
            seq=seq,
            event_id=one.event_id,
            kind=self.kind,
            sample=one.plain.sample,
            lot=one.plain.lot,
            tag=None,
            occurred_at=one.scan.occurred_at,
            recorded_at=act.now,
            by=act.by.key,
            role=act.by.role,
            data=data,
            said=said,
            parties=self._parties,
        )


def analysis_data(
    row: ResultRow, file: ResultFile, source: str, instrument: str | None, event_id: str, digest: str
) -> dict[str, Any]:
    """What the event of an analysis keeps of where it came from. digest: that of its values."""
    return {
        "analysis": event_id,
        "source": source,
        "instrument": instrument,
        "file_sha256": file.sha256,
        "line": str(row.line),
        "scanned_at": row.scanned_at,
        "values_sha256": digest,
    }


def _own(one: _Waiting, seq: int) -> dict[str, Any]:
    """What each event has of its own, by the holes it goes into."""
    plain, scan = one.plain, one.scan
    return {
        "seq": seq,
        "event_id": one.event_id,
        "sample": plain.sample,
        "lot": plain.lot,
        "occurred": scan.written,
        "line": one.row.line,
        "scanned_at": scan.scanned_at,
        "digest": one.digest,
    }


def _entry_text(event: Happened, salt: bytes, before: bytes | None) -> str:
    return canonical(entry_of(event, seal(salt, words_of(event)), before)).decode()


def _hold(one: _Waiting) -> str | None:
    return with_findings({}, one.findings).get("hold") if one.findings else None


def _code(text: str) -> str:
    try:
        return code_in(text)
    except Refused:
        return ""
