"""Weigh several empty sacks of one batch, for a mean tare that serves the rest of it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.findings import Finding
from tracker.domain.intake import batch_tare, tare_findings
from tracker.storage.equipment import require_sound
from tracker.storage.intake import TareBatch
from tracker.storage.kept import practice_in_force


def keep_tare_batch(
    session: Session, readings: Sequence[Decimal], act: Act, *, balance: str
) -> tuple[TareBatch, tuple[Finding, ...]]:
    """Keep the readings, in grams, and what is to be said of them.

    Raises Refused `too-few-tares`, `balance-check-failed`.
    """
    require_sound(session, balance)
    practice = practice_in_force(session)
    mean = batch_tare(readings, practice)
    row = TareBatch(readings=[str(one) for one in readings], balance=balance, by=act.by.key, at=act.now)
    session.add(row)
    session.flush()
    return row, tare_findings(mean, practice)
