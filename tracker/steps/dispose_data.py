"""Take data away whose time is over. The act is an event first, and the tables let go only what an event names."""

from __future__ import annotations

from sqlalchemy import ColumnElement, delete, func, select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.retention import DATA, KINDS, due_before
from tracker.errors import Refused
from tracker.steps.append_event import on_programme
from tracker.steps.print_tags import require_reason
from tracker.storage.base import Base
from tracker.storage.custody import EventRow
from tracker.storage.disposal import due_rows
from tracker.storage.kept import practice_in_force

DISPOSED = "data disposed"
MAY_DISPOSE = ("lead",)


def dispose_data(session: Session, what: str, act: Act, *, reason: str) -> EventRow:
    """Take away every record of this kind that has been kept long enough; its event says how many and before when.

    Raises Refused `not-allowed`, `reason-missing`, `not-a-choice`, `nothing-due`.
    """
    require_reason(reason)
    require_lead(act)
    if what not in DATA:
        raise Refused(
            "not-a-choice",
            f"{what!r} is nothing that is taken away like this.",
            field="what",
            remedy=f"Choose from {', '.join(DATA)}; hay is thrown away with `tracker dispose`.",
        )
    before = due_before(KINDS[what], practice_in_force(session), act.now)
    assert before is not None
    due = due_rows(what, before)
    counts = {table.__tablename__: _count(session, table, over) for table, over in due}
    if not any(counts.values()):
        raise Refused(
            "nothing-due",
            f"No record of this kind is from before {before}.",
            field="what",
            remedy="`tracker retention` says when the next ones are due.",
        )
    data = {
        "what": what,
        "before": before.isoformat(),
        "rows": {name: str(count) for name, count in counts.items()},
        "reason": reason.strip(),
    }
    event = on_programme(session, DISPOSED, data, act)
    for table, over in due:
        session.execute(delete(table).where(over).execution_options(synchronize_session=False))
    return event


def require_lead(act: Act) -> None:
    """Raises Refused `not-allowed` for anybody but a lead."""
    if act.by.role not in MAY_DISPOSE:
        raise Refused(
            "not-allowed",
            f"{act.by.key} may not take records away.",
            field="by",
            remedy="The lead answers for what is kept.",
        )


def _count(session: Session, table: type[Base], over: ColumnElement[bool]) -> int:
    return session.scalar(select(func.count()).select_from(table).where(over)) or 0
