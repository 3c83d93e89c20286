"""What is said after an act, before the next scan: what was kept, its cautions, and how to take it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import flash

from tracker.domain.findings import CAUTION, HOLD

if TYPE_CHECKING:
    from tracker.storage.custody import EventRow

_KINDS = {CAUTION: "caution", HOLD: "stop"}


def tell(event: EventRow, words: str, *, undo: bool = True) -> None:
    """Say that it is kept, every caution and hold that it brought, and offer to take it back."""
    flash(words, "good")
    for found in event.data.get("findings", ()):
        if found["level"] in _KINDS:
            flash(found["words"], _KINDS[found["level"]])
    if undo:
        flash(str(event.seq), "undo")
