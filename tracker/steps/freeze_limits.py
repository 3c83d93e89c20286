"""Freeze the limits of a check sample's constituent from its readings in control; later ones are judged by them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.check_samples import REJECT, freeze
from tracker.domain.custody import Act
from tracker.errors import NotFound
from tracker.steps.print_tags import require_reason
from tracker.storage.analysis import Source
from tracker.storage.runs import CheckLimit, CheckReading


def freeze_limits(
    session: Session,
    source: str,
    check_name: str,
    constituent: str,
    act: Act,
    *,
    reason: str,
    left_out: Collection[int] = (),
) -> CheckLimit:
    """The next version of the limits, from every reading that was not rejected. left_out: readings not to be used.

    Raises Refused `reason-missing`, NotFound `no-readings`, and what domain.check_samples.freeze raises.
    """
    require_reason(reason)
    known, readings = _readings(session, source, check_name, constituent)
    used = [one for one in readings if one.level != REJECT and one.id not in left_out]
    version = _next_version(session, known.id, check_name, constituent)
    ends = (_place(used[0]), _place(used[-1])) if used else ("", "")
    limits = freeze([one.value for one in used], version=str(version), constituent=constituent, from_to=ends)
    out = sorted(one.id for one in readings if one.id in left_out)
    said = f"{reason.strip()} Left out: readings {', '.join(map(str, out))}." if out else reason.strip()
    row = CheckLimit(
        source_id=known.id,
        check_name=check_name,
        constituent=constituent,
        version=version,
        mean=limits.mean,
        sigma=limits.sigma,
        n=limits.n,
        reason=said,
        by=act.by.key,
        at=act.now,
    )
    session.add(row)
    session.flush()
    return row


def _readings(
    session: Session, source: str, check_name: str, constituent: str
) -> tuple[Source, Sequence[CheckReading]]:
    known = session.scalar(select(Source).where(Source.name == source))
    mine = (CheckReading.check_name == check_name, CheckReading.constituent == constituent)
    wanted = select(CheckReading).where(*mine).order_by(CheckReading.id)
    found = session.scalars(wanted.where(CheckReading.source_id == known.id)).all() if known else []
    if known is None or not found:
        raise NotFound(
            "no-readings",
            f"No reading of {constituent} of {check_name!r} from {source!r} is kept.",
            field="check_name",
            remedy="Take in a run with this check sample first.",
        )
    return known, found


def _place(reading: CheckReading) -> str:
    return reading.scanned_at or f"file {reading.file_id} line {reading.line}"


def _next_version(session: Session, source_id: int, check_name: str, constituent: str) -> int:
    mine = (
        CheckLimit.source_id == source_id,
        CheckLimit.check_name == check_name,
        CheckLimit.constituent == constituent,
    )
    return (session.scalar(select(func.max(CheckLimit.version)).where(*mine)) or 0) + 1
