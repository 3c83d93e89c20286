"""How much there is to do and how large the season has grown, in a few quick counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.way import waits_for
from tracker.storage.custody import EventRow, StandingRow
from tracker.storage.kept import KeptRefusal


@dataclass(frozen=True)
class Load:
    """waiting: samples by what they wait for; entries of the log; refusals kept."""

    waiting: Mapping[str, int]
    entries: int
    refusals: int


def load(session: Session) -> Load:
    """The counts as they stand."""
    held = StandingRow.hold.is_not(None)
    rows = session.execute(select(StandingRow.state, held, func.count()).group_by(StandingRow.state, held))
    waiting: Counter[str] = Counter()
    for state, on_hold, number in rows:
        what = waits_for(state, "held" if on_hold else None)
        if what is not None:
            waiting[what] += number
    return Load(
        dict(waiting),
        session.scalar(select(func.max(EventRow.seq))) or 0,
        session.scalar(select(func.count()).select_from(KeptRefusal)) or 0,
    )
