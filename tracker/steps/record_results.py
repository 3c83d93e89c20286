"""Take in a file of results: every row joined to its sample by the tag's code, or parked with what is wrong.

The file is kept as it came. The same file again changes nothing, whatever it is called this time.
"""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from itertools import islice
from typing import Any
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.log_entry import texts_digest
from tracker.domain.tag import BOUND, code_in
from tracker.domain.times import moment
from tracker.errors import NotFound, Refused, TrackerError
from tracker.files.column_map import ColumnMap, load_column_map
from tracker.files.results_file import ReportedValue, ResultRow, each_result, suggest_codes
from tracker.files.table_file import read_table
from tracker.steps.append_event import late_words, on_sample
from tracker.steps.check_run import RunsOf, hold_where_rejected, record_check, runs_of
from tracker.steps.judge_analysis import judged
from tracker.steps.sample_for import sample_for
from tracker.steps.take_many import AT_ONCE, ManyAtOnce, analysis_data
from tracker.storage.analysis import (
    Analysis,
    ParkedRow,
    ResultFile,
    ResultValue,
    Source,
    SourceMap,
    keep_repeats,
    map_in_force,
)
from tracker.storage.coring import Sample
from tracker.storage.kept import practice_in_force
from tracker.storage.runs import CheckReading
from tracker.storage.tags import Tag

Progress = Callable[[int, int], None]
TAKEN, PARKED, CHECK = "taken in", "parked", "check sample"


@dataclass(frozen=True)
class LineTold:
    """What became of one line of a file: taken in, parked, or check sample; words: what is remarked on it."""

    line: int
    sample_text: str
    became: str
    code: str | None
    words: tuple[str, ...]
    suggestions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Taken:
    """What became of a file. known: it had been taken in before, and nothing changed.

    checks: lines that are readings of a check sample; held: samples put on hold because one was out of control.
    """

    file_id: int
    sha256: str
    rows: int
    taken: int
    parked: int
    known: bool
    checks: int = 0
    held: int = 0
    remarks: tuple[str, ...] = field(default=())


Told = Callable[[LineTold], None]


def record_results(
    session: Session,
    source: str,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    progress: Progress | None = None,
    told: Told | None = None,
) -> Taken:
    """Take in the file with the source's column map in force.

    Raises NotFound `unknown-source`, and what read_table and ColumnMap.applies_to raise; a single row never
    refuses the file.
    """
    rows = recording(session, source, name, content, act, sheet=sheet, told=told)
    with _no_search_for_cycles():
        while True:
            try:
                done, total = next(rows)
            except StopIteration as end:
                taken: Taken = end.value
                return taken
            if progress:
                progress(done, total)


def recording(
    session: Session,
    source: str,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    told: Told | None = None,
) -> Generator[tuple[int, int], None, Taken]:
    """The same a row at a time, for whoever shows how far it is: rows done and rows in all."""
    kept_map, origin = _map_in_force(session, source)
    digest = hashlib.sha256(content).hexdigest()
    known = session.scalar(
        select(ResultFile).where(
            ResultFile.sha256 == digest, ResultFile.map_id == kept_map.id, ResultFile.sheet == (sheet or "")
        )
    )
    if known is not None:
        return _again(session, known)
    table = read_table(name, content, sheet=sheet)
    column_map = load_column_map(kept_map.body)
    rows = each_result(table, column_map)
    file = ResultFile(
        map_id=kept_map.id,
        name=name,
        sheet=sheet or "",
        sha256=digest,
        content=content,
        by=act.by.key,
        at=act.now,
    )
    session.add(file)
    session.flush()
    taker = _Taker(session, file, origin, column_map, act, told)
    done, total = 0, len(table.rows)
    while portion := list(islice(rows, AT_ONCE)):
        taker.many.look(portion)
        for row in portion:
            taker.take(row)
            done += 1
            yield done, total
        taker.many.write()
    return taker.ended(digest, total)


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """Rows leave no cycles behind, and to go through all that a long file keeps, again and again, takes a while."""
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searching:
            gc.enable()


def event_kind(source: Source) -> str:
    """What happens to a sample when results of this source come in."""
    return "scanned" if source.kind == "instrument" else "analysed outside"


def _map_in_force(session: Session, source: str) -> tuple[SourceMap, Source]:
    origin = session.scalar(select(Source).where(Source.name == source))
    kept = None if origin is None else map_in_force(session, origin.id)
    if origin is None or kept is None:
        raise NotFound(
            "unknown-source",
            f"There is no source called {source!r}.",
            field="source",
            remedy="Add it with its column map: `tracker add-source`.",
        )
    return kept, origin


def _again(session: Session, file: ResultFile) -> Taken:
    taken = len(session.scalars(select(Analysis.id).where(Analysis.file_id == file.id)).all())
    parked = len(session.scalars(select(ParkedRow.id).where(ParkedRow.file_id == file.id)).all())
    lines = select(CheckReading.line).where(CheckReading.file_id == file.id).distinct()
    checks = len(session.scalars(lines).all())
    return Taken(file.id, file.sha256, taken + parked + checks, taken, parked, known=True, checks=checks)


class _Taker:
    """One file on its way in."""

    def __init__(
        self,
        session: Session,
        file: ResultFile,
        source: Source,
        column_map: ColumnMap,
        act: Act,
        told: Told | None,
    ) -> None:
        self.session = session
        self.file = file
        self.source = source
        self.event = event_kind(source)
        self.instrument = column_map.instrument
        self.repeats = column_map.repeat is not None
        self.act = act
        self.told = told
        self.runs: RunsOf = runs_of(session, source.id)
        self.many = ManyAtOnce(session, file, source.name, self.event, self.instrument, act)
        # The line each sample stood in first; what it was measured at there, where a run scans any sample twice.
        self.seen: dict[int, int] = {}
        self.first: dict[int, Sequence[ReportedValue]] = {}
        self.compared: set[int] = set()
        self.taken = self.parked = self.checks = 0
        self.remarks: list[str] = []

    def take(self, row: ResultRow) -> None:
        """Attach the row to its sample, keep it as a reading of a check sample, or park it."""
        if row.problems:
            self._park(row, [problem_dict(p) for p in row.problems], self._near(row.sample_text))
            return
        check = self.runs.check_named(row.sample_text)
        if check is not None:
            self._check(row, check)
            return
        plain = self.many.take(row, self.seen)
        if plain is not None:
            self._taken(row, plain[0].sample, plain[0].code, [finding.words for finding in plain[1]])
            return
        # One row by itself enters the log at once, so what waits goes first.
        self.many.write()
        try:
            sample, first = self._sample(row)
            analysis = attach(
                self.session,
                sample,
                row,
                self.file,
                self.source.name,
                self.event,
                self.instrument,
                self.act,
                duplicate_of=first,
            )
        except TrackerError as refused:
            self._park(row, [refused.as_dict()], self._near(row.sample_text))
            return
        self._taken(row, sample.id, code_in(row.sample_text), [one["words"] for one in analysis.findings])

    def _taken(self, row: ResultRow, sample_id: int, code: str, words: Sequence[str]) -> None:
        self.seen.setdefault(sample_id, row.line)
        if self.runs.blind:
            self.first.setdefault(sample_id, row.values)
        self.taken += 1
        self._tell(row, TAKEN, code, words)

    def ended(self, digest: str, rows: int) -> Taken:
        """What became of the file; where a check sample was out of control, its samples are on hold now."""
        keep_repeats(self.session, self.file.id)
        held = hold_where_rejected(self.session, self.file, list(self.seen), self.act)
        return Taken(
            self.file.id,
            digest,
            rows,
            self.taken,
            self.parked,
            known=False,
            checks=self.checks,
            held=held,
            remarks=tuple(self.remarks),
        )

    def _check(self, row: ResultRow, name: str) -> None:
        self.checks += 1
        found = record_check(self.session, self.file, self.source.id, name, row, self.checks)
        words = tuple(finding.words for finding in found)
        self.remarks += words
        self._tell(row, CHECK, None, words)

    def _sample(self, row: ResultRow) -> tuple[Sample, Sequence[ReportedValue]]:
        """The row's sample, and its first values where this row is the blind duplicate of an earlier one."""
        sample = sample_for(self.session, row.sample_text)
        earlier = self.seen.get(sample.id)
        if earlier is None or self.repeats:
            return sample, ()
        if self.runs.is_blind(code_in(row.sample_text)) and sample.id not in self.compared:
            self.compared.add(sample.id)
            return sample, self.first[sample.id]
        raise Refused(
            "sample-twice-in-file",
            f"The sample stands in line {earlier} already.",
            remedy="Which of the two is it? Take this one in for another sample, or set it aside.",
        )

    def _near(self, text: str) -> tuple[str, ...]:
        """Codes on bags that one slip could have turned into this text; none where the text is one of them."""
        return suggest_codes(text, partial(_names_a_bag, self.session))

    def _park(self, row: ResultRow, problems: list[dict[str, Any]], near: tuple[str, ...]) -> None:
        self.session.add(
            ParkedRow(
                file_id=self.file.id,
                line=row.line,
                sample_text=row.sample_text,
                cells=list(row.cells),
                problems=problems,
                suggestions=list(near),
            )
        )
        self.parked += 1
        words = [f"{problem['message']} {problem['remedy']}" for problem in problems]
        self._tell(row, PARKED, None, words, near)

    def _tell(
        self, row: ResultRow, became: str, code: str | None, words: Sequence[str], near: tuple[str, ...] = ()
    ) -> None:
        if self.told:
            self.told(LineTold(row.line, row.sample_text, became, code, tuple(words), near))


def problem_dict(problem: Any) -> dict[str, Any]:
    """A row's problem in the form of a refusal."""
    return {
        "code": problem.code,
        "message": problem.words,
        "remedy": problem.suggestion,
        "field": problem.field or None,
        "line": None,
    }


def _names_a_bag(session: Session, code: str) -> bool:
    return session.scalar(select(Tag.id).where(Tag.code == code, Tag.state == BOUND)) is not None


def attach(
    session: Session,
    sample: Sample,
    row: ResultRow,
    file: ResultFile,
    source: str,
    event_kind: str,
    instrument: str | None,
    act: Act,
    *,
    duplicate_of: Sequence[ReportedValue] = (),
) -> Analysis:
    """Give the row's values to the sample, with what is to be said of them. Raises what custody raises."""
    scan = _at_scan(session, sample, row, file, act)
    findings = judged(session, sample, row.values, practice_in_force(session), duplicate_of)
    # The event names the analysis, and the analysis its event, so the name is made before either.
    scan = replace(scan, event_id=str(uuid4()))
    digest = texts_digest([value.written for value in row.values])
    data = analysis_data(row, file, source, instrument, str(scan.event_id), digest)
    event = on_sample(session, event_kind, sample, data, scan, findings=findings)
    analysis = Analysis(
        event_id=event.event_id,
        sample_id=sample.id,
        file_id=file.id,
        line=row.line,
        scanned_at=row.scanned_at,
        findings=[finding.as_data() for finding in findings],
    )
    session.add(analysis)
    session.flush()
    session.add_all(
        ResultValue(
            analysis_id=analysis.id,
            constituent=value.constituent,
            value=value.value,
            unit=value.unit,
            basis=value.basis,
            method=value.method,
            calibration=value.calibration,
            qualifier=value.qualifier,
        )
        for value in row.values
    )
    return analysis


def _at_scan(session: Session, sample: Sample, row: ResultRow, file: ResultFile, act: Act) -> Act:
    """The act at the time of the scan, which is when it happened; the file may come in much later."""
    if row.scanned_at is None:
        return act
    when: datetime = moment(row.scanned_at)
    late = late_words(session, sample, when, f"Taken in from {file.name}.")
    return replace(act, at=when, late_reason=act.late_reason or late)
