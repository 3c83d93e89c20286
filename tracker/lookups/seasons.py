"""The seasons the programme has lots of."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.storage.lots import Lot


def seasons(session: Session) -> tuple[int, ...]:
    """Years of harvest, the newest first."""
    found: list[int] = []
    newest = select(func.max(Lot.season))
    # One after the other by the index, where the years of all lots would be looked at for a handful.
    season = session.scalar(newest)
    while season is not None:
        found.append(season)
        season = session.scalar(newest.where(Lot.season < season))
    return tuple(found)
