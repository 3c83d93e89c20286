"""Two people on one sack, and a tab left open: what is recorded rests on what was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracker.errors import Conflict
from tracker.lookups.last_entry import last_entry

if TYPE_CHECKING:
    from sqlalchemy.orm import Session


def not_moved(session: Session, sample_id: int, seen: str | int | None) -> None:
    """Nothing, if the sample's last entry is the one the page was drawn from. Raises Conflict `moved-on`."""
    if seen is None or str(seen) != str(last_entry(session, sample_id)):
        raise Conflict(
            "moved-on",
            "Somebody else has worked on this sack since the page was opened.",
            field="sample",
            remedy="Nothing was recorded. Go back: the page shows it as it is now.",
        )
