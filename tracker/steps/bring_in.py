"""Take in a list from a spreadsheet, or try how it would come in: every line has its answer either way."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.errors import NotFound, Refused
from tracker.steps.add_fields import add_fields
from tracker.steps.add_producers import add_producers
from tracker.steps.register_lots import LineAnswer, register_lots

Take = Callable[..., tuple[LineAnswer, ...]]
LISTS: dict[str, Take] = {"producers": add_producers, "fields": add_fields, "lots": register_lots}
# While a list is tried nobody else can record anything.
MOST_LINES = 3000


def bring_in(
    session: Session, kind: str, name: str, content: bytes, act: Act, *, sheet: str | None = None
) -> tuple[LineAnswer, ...]:
    """Take the list in. kind: one of LISTS. Raises NotFound `unknown-list` and what the list's own step raises."""
    return _step(kind)(session, name, content, act, sheet=sheet)


def try_in(
    session: Session, kind: str, name: str, content: bytes, act: Act, *, sheet: str | None = None
) -> tuple[LineAnswer, ...]:
    """What bring_in would answer now; nothing is kept. Raises as bring_in, and Refused `too-long-to-look-at`."""

    def told(done: int, total: int) -> None:
        if total > MOST_LINES:
            raise Refused(
                "too-long-to-look-at",
                f"{name} has more than {MOST_LINES} rows.",
                field="file",
                remedy=f"Divide it, or take it in by `tracker import-{kind}` when nobody is at work.",
            )

    trial = session.begin_nested()
    try:
        return _step(kind)(session, name, content, act, sheet=sheet, progress=told)
    finally:
        trial.rollback()


def _step(kind: str) -> Take:
    if kind not in LISTS:
        raise NotFound(
            "unknown-list",
            f"No list of {kind[:40]!r} is taken in.",
            field="list",
            remedy=f"Choose from {', '.join(LISTS)}.",
        )
    return LISTS[kind]
