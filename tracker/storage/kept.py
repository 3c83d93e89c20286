"""What is kept although nothing came of it, and the programme's own choices."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Index, Text, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from tracker.domain.practice import Practice, checked_value
from tracker.errors import TrackerError
from tracker.storage.base import Base, Plain, Utc
from tracker.storage.bulk import table_of
from tracker.storage.questions import Asked, Question


class KeptRefusal(Base):
    """Something a person asked for and was refused: the values as given, and the complaint."""

    __tablename__ = "kept_refusal"
    __table_args__ = (Index("ix_kept_refusal_code", "code", "id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(Utc)
    act: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(Text)
    given: Mapped[Any] = mapped_column(Plain)
    code: Mapped[str] = mapped_column(Text)
    message: Mapped[str] = mapped_column(Text)
    remedy: Mapped[str] = mapped_column(Text)
    field: Mapped[str | None] = mapped_column(Text)
    line: Mapped[int | None]


class PracticeValue(Base):
    """One choice the programme made; the latest row of a rule is in force, the earlier ones stay."""

    __tablename__ = "practice_value"

    id: Mapped[int] = mapped_column(primary_key=True)
    rule: Mapped[str] = mapped_column(Text, index=True)
    value: Mapped[str] = mapped_column(Text)
    source: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    by: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(Utc)


def keep_refusal(
    session: Session, at: datetime, act: str, by: str, given: Mapping[str, Any], refused: TrackerError
) -> None:
    """Keep what was asked and why it was refused."""
    values = {name: value if value is None else str(value) for name, value in given.items()}
    session.add(KeptRefusal(at=at, act=act, by=by, given=values, **refused.as_dict()))


_OF = table_of(PracticeValue).c
_CHOICES = Question(select(_OF.rule, _OF.value, _OF.source).order_by(_OF.id))


def practice_in_force(asked: Asked) -> Practice:
    """The programme's own choices over the defaults; of one rule the latest row counts."""
    rows = _CHOICES.rows(asked)
    return Practice(
        {row.rule: checked_value(row.rule, row.value) for row in rows}, {row.rule: row.source for row in rows}
    )
