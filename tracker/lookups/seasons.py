"""The seasons the programme has lots of."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.storage.lots import Lot


def seasons(session: Session) -> tuple[int, ...]:
    """Years of harvest, the newest first."""
    return tuple(session.scalars(select(Lot.season).distinct().order_by(Lot.season.desc())))
