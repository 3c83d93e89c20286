"""Take in a file of results: every row joined to its sample by the tag's code, or parked with what is wrong.

The file is kept as it came. The same file again changes nothing, whatever it is called this time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.tag import BOUND, VOID, code_in
from tracker.domain.times import moment
from tracker.errors import NotFound, Refused, TrackerError
from tracker.files.column_map import ColumnMap, load_column_map
from tracker.files.results_file import ResultRow, each_result, suggest_codes
from tracker.files.tables import read_table
from tracker.steps.append_event import on_sample, standing_of
from tracker.steps.judge_analysis import judged
from tracker.storage.analysis import Analysis, ParkedRow, ResultFile, ResultValue, Source, SourceMap
from tracker.storage.coring import Sample
from tracker.storage.kept import practice_in_force
from tracker.storage.tags import Tag, tag_coded

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Taken:
    """What became of a file. known: it had been taken in before, and nothing changed."""

    file_id: int
    sha256: str
    rows: int
    taken: int
    parked: int
    known: bool


def record_results(
    session: Session,
    source: str,
    name: str,
    content: bytes,
    act: Act,
    *,
    sheet: str | None = None,
    progress: Progress | None = None,
) -> Taken:
    """Take in the file with the source's column map in force.

    Raises NotFound `unknown-source`, and what read_table and ColumnMap.applies_to raise; a single row never
    refuses the file.
    """
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
    taker = _Taker(session, file, origin, column_map, act)
    total = len(table.rows)
    for done, row in enumerate(rows, start=1):
        taker.take(row)
        if progress:
            progress(done, total)
    session.flush()
    return Taken(file.id, digest, total, taker.taken, taker.parked, known=False)


def event_kind(source: Source) -> str:
    """What happens to a sample when results of this source come in."""
    return "scanned" if source.kind == "instrument" else "analysed outside"


def _map_in_force(session: Session, source: str) -> tuple[SourceMap, Source]:
    row = session.execute(
        select(SourceMap, Source)
        .join(Source, Source.id == SourceMap.source_id)
        .where(Source.name == source)
        .order_by(SourceMap.version.desc())
        .limit(1)
    ).first()
    if row is None:
        raise NotFound(
            "unknown-source",
            f"There is no source called {source!r}.",
            field="source",
            remedy="Add it with its column map: `tracker add-source`.",
        )
    return row[0], row[1]


def _again(session: Session, file: ResultFile) -> Taken:
    taken = len(session.scalars(select(Analysis.id).where(Analysis.file_id == file.id)).all())
    parked = len(session.scalars(select(ParkedRow.id).where(ParkedRow.file_id == file.id)).all())
    return Taken(file.id, file.sha256, taken + parked, taken, parked, known=True)


class _Taker:
    """One file on its way in."""

    def __init__(
        self, session: Session, file: ResultFile, source: Source, column_map: ColumnMap, act: Act
    ) -> None:
        self.session = session
        self.file = file
        self.source = source.name
        self.event = event_kind(source)
        self.instrument = column_map.instrument
        self.repeats = column_map.repeat is not None
        self.act = act
        self.seen: dict[int, int] = {}
        self.taken = self.parked = 0

    def take(self, row: ResultRow) -> None:
        """Attach the row to its sample, or park it."""
        if row.problems:
            self._park(row, [problem_dict(p) for p in row.problems], self._near(row.sample_text))
            return
        try:
            sample = self._sample(row)
            attach(self.session, sample, row, self.file, self.source, self.event, self.instrument, self.act)
        except TrackerError as refused:
            self._park(row, [refused.as_dict()], self._near(row.sample_text))
            return
        self.seen[sample.id] = row.line
        self.taken += 1

    def _sample(self, row: ResultRow) -> Sample:
        sample = sample_for(self.session, row.sample_text)
        earlier = self.seen.get(sample.id)
        if earlier is not None and not self.repeats:
            raise Refused(
                "sample-twice-in-file",
                f"The sample stands in line {earlier} already.",
                remedy="Which of the two is it? Take this one in for another sample, or set it aside.",
            )
        return sample

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


def sample_for(session: Session, text: str) -> Sample:
    """The sample whose bag carries this code. Raises as tag_coded, Refused `tag-void`, `tag-unbound`."""
    tag = tag_coded(session, code_in(text))
    if tag.state == VOID:
        current = _replacement(session, tag)
        raise Refused(
            "tag-void",
            f"Tag {tag.code} is void.",
            field="code",
            remedy=f"The bag carries {current} now; take the row in for that one."
            if current
            else "Ask whose it was.",
        )
    if tag.sample_id is None:
        raise Refused(
            "tag-unbound",
            f"Tag {tag.code} is not on any bag.",
            field="code",
            remedy="Bind it to its bag first, or find the bag by the run's order.",
        )
    return session.get_one(Sample, tag.sample_id)


def _replacement(session: Session, tag: Tag) -> str | None:
    if tag.sample_id is None:
        return None
    return standing_of(session, session.get_one(Sample, tag.sample_id)).code


def attach(
    session: Session,
    sample: Sample,
    row: ResultRow,
    file: ResultFile,
    source: str,
    event_kind: str,
    instrument: str | None,
    act: Act,
) -> Analysis:
    """Give the row's values to the sample, with what is to be said of them. Raises what custody raises."""
    scan = _at_scan(session, sample, row, file, act)
    findings = judged(session, sample, row.values, practice_in_force(session))
    # The event names the analysis, and the analysis its event, so the name is made before either.
    scan = replace(scan, event_id=str(uuid4()))
    data = {
        "analysis": scan.event_id,
        "source": source,
        "instrument": instrument,
        "file_sha256": file.sha256,
        "line": str(row.line),
        "scanned_at": row.scanned_at,
    }
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
    last = standing_of(session, sample).last_at
    late = f"Taken in from {file.name}." if last is not None and when < last else ""
    return replace(act, at=when, late_reason=act.late_reason or late)
