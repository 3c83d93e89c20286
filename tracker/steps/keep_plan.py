"""Keep a season plan as it was made, with what was asked and all it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.season_kept import Question
from tracker.storage.feeding import KeptPlan
from tracker.storage.people import producer_named


def keep_plan(
    session: Session,
    producer: str,
    question: Question,
    rests_on: Mapping[str, Any],
    told: Mapping[str, Any],
    paper: bytes,
    act: Act,
) -> KeptPlan:
    """The plan as a record. The same question with the same outcome as the producer's newest plan is that plan.

    rests_on, told: as tracker.domain.season_kept gives them; paper: the PDF. Raises NotFound `unknown-producer`.
    """
    owner = producer_named(session, producer)
    made = {"asked": question.as_data(), "rests_on": dict(rests_on), "told": dict(told)}
    newest = select(KeptPlan).where(KeptPlan.producer_id == owner.id).order_by(KeptPlan.id.desc()).limit(1)
    before = session.scalar(newest)
    if before is not None and all(getattr(before, name) == value for name, value in made.items()):
        return before
    row = KeptPlan(producer_id=owner.id, **made, paper=paper, by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    return row
