"""Season plans that were kept: which there are, and one of them as it was."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.season_kept import Question
from tracker.errors import NotFound
from tracker.lookups.page import USUAL, Key, Page, page_of
from tracker.storage.feeding import KeptPlan
from tracker.storage.people import Producer, party_names, producer_named


@dataclass(frozen=True)
class KeptLine:
    """One kept plan in a list; question None: it was erased."""

    number: int
    producer: str
    by: str
    at: datetime
    question: Question | None


@dataclass(frozen=True)
class KeptSeason:
    """One kept plan, whole. rests_on, told: as tracker.domain.season_kept has them; paper: the PDF."""

    line: KeptLine
    question: Question
    rests_on: dict[str, Any]
    told: dict[str, Any]
    paper: bytes


def kept_plans(session: Session, producer: str | None = None) -> tuple[KeptLine, ...]:
    """The plans of one producer or of all, the newest first. Raises NotFound `unknown-producer`."""
    wanted = select(KeptPlan, Producer.name).join(Producer).order_by(KeptPlan.id.desc())
    if producer is not None:
        wanted = wanted.where(KeptPlan.producer_id == producer_named(session, producer).id)
    names = party_names(session)
    return tuple(_line(row, owner, names) for row, owner in session.execute(wanted))


def kept_plans_page(session: Session, after: Key = (), limit: int = USUAL) -> Page[KeptLine]:
    """The plans of all, the oldest first, a page of them. Raises Refused `not-a-cursor`."""
    wanted = select(KeptPlan, Producer.name).join(Producer, Producer.id == KeptPlan.producer_id)
    names = party_names(session)
    return page_of(session, wanted, [KeptPlan.id], lambda row, who: _line(row, who, names), after, limit)


def kept_plan(session: Session, number: int) -> KeptSeason:
    """The plan of this number. Raises NotFound `unknown-kept-plan`."""
    wanted = select(KeptPlan, Producer.name).join(Producer).where(KeptPlan.id == number)
    found = session.execute(wanted).one_or_none()
    if found is None or not found[0].asked:
        why = "was erased with its producer" if found else "does not exist"
        raise NotFound(
            "unknown-kept-plan",
            f"Season plan {number} {why}.",
            field="number",
            remedy="`tracker season-plans` lists those that are kept.",
        )
    row, owner = found
    line = _line(row, owner, party_names(session))
    return KeptSeason(line, Question.from_data(row.asked), row.rests_on, row.told, row.paper)


def _line(row: KeptPlan, producer: str, names: dict[str, str]) -> KeptLine:
    question = Question.from_data(row.asked) if row.asked else None
    return KeptLine(row.id, producer, names.get(row.by, row.by), row.at, question)
