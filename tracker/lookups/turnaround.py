"""How long the programme's samples took from each station to the report, and when one that is under way is due."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.custody import LAB_ROLES, Event
from tracker.domain.turnaround import Expected, Turnaround, expected, turnaround
from tracker.storage.custody import EventRow, Undone
from tracker.storage.results import ReportVersion

# The event that a station's clock starts at, the last station first: the later, the surer.
STARTS = {
    "scan": ("scanned", "analysed outside"),
    "mill": ("fine ground",),
    "oven": ("dry weighed",),
    "desk": ("received",),
    "stack": ("cored",),
}
# What was reported last tells how it goes now.
NEWEST = 200
_NEVER = datetime.min.replace(tzinfo=UTC)


def turnarounds(session: Session) -> dict[str, Turnaround]:
    """By station, for those with enough finished samples."""
    reported = _first_reports(session)
    reached = _reached(session, reported)
    found = {}
    for station in STARTS:
        spans = [reported[sample] - at for (sample, where), at in reached.items() if where == station]
        took = turnaround(station, [span for span in spans if span >= timedelta()])
        if took is not None:
            found[station] = took
    return found


def _first_reports(session: Session) -> dict[int, datetime]:
    first = select(ReportVersion.sample_id, func.min(ReportVersion.issued_at).label("at"))
    newest = first.group_by(ReportVersion.sample_id).order_by(func.min(ReportVersion.issued_at).desc())
    rows = session.execute(newest.limit(NEWEST)).all()
    # An aggregate of a column keeps its type, and so its time zone.
    return {row.sample_id: row.at for row in rows}


def _reached(session: Session, reported: Mapping[int, datetime]) -> dict[tuple[int, str], datetime]:
    """When each sample reached each station: the last time before its first report."""
    stations = {kind: station for station, kinds in STARTS.items() for kind in kinds}
    wanted = (
        select(EventRow.sample_id, EventRow.kind, EventRow.role, EventRow.occurred_at)
        .where(EventRow.kind.in_(stations), EventRow.event_id.not_in(select(Undone.event_id)))
        .order_by(EventRow.occurred_at)
    )
    found: dict[tuple[int, str], datetime] = {}
    for sample, kind, role, at in session.execute(wanted):
        # A bag that goes from hand to hand in the field is not at the desk.
        if (
            sample is not None
            and at <= reported.get(sample, _NEVER)
            and (kind != "received" or role in LAB_ROLES)
        ):
            found[sample, stations[kind]] = at
    return found


def expected_for(session: Session, events: Iterable[Event], now: datetime) -> Expected | None:
    """When a sample with these events (corrected, none undone) should be ready; None where nothing is to go by."""
    known = turnarounds(session)
    done = list(events)
    for station, kinds in STARTS.items():
        reached = [
            event.occurred_at
            for event in done
            if event.kind in kinds and (event.kind != "received" or event.role in LAB_ROLES)
        ]
        if reached and station in known:
            return expected(known[station], max(reached), now)
    return None
