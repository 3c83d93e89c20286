"""The control chart of each constituent of each check sample, as it stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.check_samples import LEAST_RUNS, REJECT
from tracker.storage.analysis import ResultFile, Source
from tracker.storage.people import party_names
from tracker.storage.runs import CheckLimit, CheckReading


@dataclass(frozen=True)
class Reading:
    """One value of the check sample. when: as the file gave it, else when the file came in (RFC 3339)."""

    id: int
    value: Decimal
    when: str
    file: str
    line: int
    level: str
    rules: tuple[str, ...]


@dataclass(frozen=True)
class FrozenLimits:
    """One version of the limits."""

    version: int
    mean: Decimal
    sigma: Decimal
    n: int
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True)
class Chart:
    """Readings oldest first, limits newest first: the first of them is in force."""

    source: str
    check_name: str
    constituent: str
    readings: tuple[Reading, ...]
    limits: tuple[FrozenLimits, ...]

    @property
    def usable(self) -> int:
        """How many readings limits could be frozen from."""
        return sum(1 for reading in self.readings if reading.level != REJECT)

    @property
    def may_freeze(self) -> bool:
        """Whether there are enough of them."""
        return self.usable >= LEAST_RUNS


def charts(session: Session) -> tuple[Chart, ...]:
    """Every chart there is a reading for, by source, check sample, and the constituents in their usual order."""
    names = party_names(session)
    found: dict[tuple[str, str, str], list[Reading]] = {}
    wanted = (
        select(CheckReading, Source.name, ResultFile.name, ResultFile.at)
        .join(Source, Source.id == CheckReading.source_id)
        .join(ResultFile, ResultFile.id == CheckReading.file_id)
        .order_by(CheckReading.id)
    )
    for row, source, file, at in session.execute(wanted):
        reading = Reading(
            row.id, row.value, row.scanned_at or at.isoformat(), file, row.line, row.level, tuple(row.rules)
        )
        found.setdefault((source, row.check_name, row.constituent), []).append(reading)
    limits = _limits(session, names)
    order = list(CONSTITUENTS)
    return tuple(
        Chart(*key, tuple(readings), tuple(limits.get(key, ())))
        for key, readings in sorted(found.items(), key=lambda one: (*one[0][:2], order.index(one[0][2])))
    )


def _limits(session: Session, names: dict[str, str]) -> dict[tuple[str, str, str], list[FrozenLimits]]:
    wanted = select(CheckLimit, Source.name).join(Source, Source.id == CheckLimit.source_id)
    found: dict[tuple[str, str, str], list[FrozenLimits]] = {}
    rows: Iterable[tuple[CheckLimit, str]] = (
        (row, source) for row, source in session.execute(wanted.order_by(CheckLimit.version.desc()))
    )
    for row, source in rows:
        frozen = FrozenLimits(
            row.version, row.mean, row.sigma, row.n, row.reason, names.get(row.by, row.by), row.at
        )
        found.setdefault((source, row.check_name, row.constituent), []).append(frozen)
    return found
