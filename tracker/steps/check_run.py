"""Check samples that come back among a run's results: judged by frozen limits, and the run held if they fail."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.check_samples import (
    BLIND,
    CHECK,
    IN_CONTROL,
    REJECT,
    Limits,
    Verdict,
    evaluate,
    run_findings,
)
from tracker.domain.custody import Act
from tracker.domain.findings import Finding
from tracker.files.results_file import ReportedValue, ResultRow
from tracker.steps.append_event import following, late_words, on_sample
from tracker.storage.analysis import ResultFile
from tracker.storage.coring import Sample
from tracker.storage.runs import CheckLimit, CheckReading, RunList, check_names, limit_in_force

# The longest rule looks back ten readings; one run may hold more check samples than that.
LOOKED_BACK = 40
NOT_JUDGED = "none"


@dataclass(frozen=True)
class RunsOf:
    """What a source's run lists say of its files: the names of check samples, and which codes are scanned twice."""

    checks: dict[str, str]
    blind: frozenset[str]

    def check_named(self, text: str) -> str | None:
        """The check sample that this text names, None if it names none."""
        return self.checks.get(text.strip().casefold())

    def is_blind(self, code: str) -> bool:
        """Whether the newest run list with this code scans it twice."""
        return code in self.blind


def runs_of(session: Session, source_id: int) -> RunsOf:
    """The source's run lists, read once for a file."""
    newest: dict[str, bool] = {}
    lists = select(RunList.rows).where(RunList.source_id == source_id).order_by(RunList.id.desc())
    for rows in session.scalars(lists):
        twice = {row["code"] for row in rows if row["kind"] == BLIND}
        for row in rows:
            if row["kind"] != CHECK:
                newest.setdefault(row["code"], row["code"] in twice)
    checks = {name.casefold(): name for name in check_names(session, source_id)}
    return RunsOf(checks, frozenset(code for code, twice in newest.items() if twice))


def record_check(
    session: Session, file: ResultFile, source_id: int, name: str, row: ResultRow, nth: int
) -> tuple[Finding, ...]:
    """Keep each value of the row as a reading, judged by the limits in force; nth check sample of its file, from 1.

    A value below the detection limit is no reading. Without limits a value is kept and not judged.
    """
    found: list[Finding] = []
    for value in row.values:
        if value.qualifier:
            continue
        limit = limit_in_force(session, source_id, name, value.constituent)
        verdict = _verdict(session, limit, file, value) if limit else None
        session.add(
            CheckReading(
                file_id=file.id,
                line=row.line,
                source_id=source_id,
                check_name=name,
                constituent=value.constituent,
                value=value.value,
                limit_id=limit.id if limit else None,
                rules=list(verdict.rules) if verdict else [],
                level=verdict.level if verdict else NOT_JUDGED,
                scanned_at=row.scanned_at,
            )
        )
        if limit and verdict and verdict.level != IN_CONTROL:
            found += run_findings([replace(verdict, index=nth - 1)], _limits(limit))
    session.flush()
    return tuple(found)


def _verdict(session: Session, limit: CheckLimit, file: ResultFile, value: ReportedValue) -> Verdict:
    """The value judged with the readings before it that the same limits judged."""
    wanted = select(CheckReading.value, CheckReading.file_id).where(CheckReading.limit_id == limit.id)
    before = session.execute(wanted.order_by(CheckReading.id.desc()).limit(LOOKED_BACK)).all()[::-1]
    points = [*(reading.value for reading in before), value.value]
    same_run = [*(reading.file_id for reading in before), file.id]
    return evaluate(points, _limits(limit), same_run)[-1]


def _limits(limit: CheckLimit) -> Limits:
    return Limits(str(limit.version), limit.constituent, limit.mean, limit.sigma, limit.n, ("", ""))


def hold_where_rejected(session: Session, file: ResultFile, samples: Iterable[int], act: Act) -> int:
    """Put these samples on hold if a check sample of the file was out of control; how many were."""
    rejected = session.scalars(
        select(CheckReading)
        .where(CheckReading.file_id == file.id, CheckReading.level == REJECT)
        .order_by(CheckReading.id)
    ).all()
    if not rejected:
        return 0
    reason = _reason(rejected)
    held = 0
    for sample_id in samples:
        sample = session.get_one(Sample, sample_id)
        on_sample(session, "held", sample, {"reason": reason}, _in_order(session, sample, file, act))
        held += 1
    return held


def _reason(rejected: Iterable[CheckReading]) -> str:
    broken = [
        f"{reading.check_name}, {reading.constituent} {reading.value} in line {reading.line} breaks "
        f"{', '.join(reading.rules)}"
        for reading in rejected
    ]
    return f"Check sample out of control: {'; '.join(broken)}."


def _in_order(session: Session, sample: Sample, file: ResultFile, act: Act) -> Act:
    """The act with the reason why it comes late, where the file came in after something else had happened."""
    late = late_words(session, sample, act.occurred_at, f"Taken in from {file.name}.")
    return replace(following(act), late_reason=act.late_reason or late)
