"""The daily check of a balance; one that fails puts what was weighed on it in doubt."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from tracker.domain.balance_check import affected, judge_check
from tracker.domain.custody import Act
from tracker.steps.append_event import following, on_sample
from tracker.storage.coring import Sample
from tracker.storage.custody import Undone, has_ended
from tracker.storage.equipment import BalanceCheck, balance_named, checks_of
from tracker.storage.intake import Weighing


def check_balance(
    session: Session, name: str, zero: Decimal, shown: Decimal, act: Act
) -> tuple[BalanceCheck, tuple[int, ...]]:
    """Keep what the balance showed with its pan empty and with its check weight, both in grams.

    Where it fails, every sample weighed on it since its last good check is put on hold; their numbers are returned
    beside the check. Raises NotFound `unknown-balance`.
    """
    balance = balance_named(session, name)
    # The programme's own limit stands for those of the balance's class.
    judged = judge_check(balance.check_weight, shown, zero, balance.limit, "III", balance.limit)
    before = _line(checks_of(session, name))
    row = BalanceCheck(
        balance_id=balance.id,
        zero=zero,
        shown=shown,
        passed=judged.passed,
        words=judged.words,
        by=act.by.key,
        at=act.occurred_at,
    )
    session.add(row)
    session.flush()
    weighings = _weighings(session, name)
    known = set(affected(weighings, before))
    doubted = dict.fromkeys(
        key[1] for key in affected(weighings, [*before, (row.at, row.passed)]) if key not in known
    )
    held = tuple(number for number in doubted if _hold(session, number, name, row.words, act))
    return row, held


def _line(checks: list[BalanceCheck]) -> list[tuple[datetime, bool]]:
    return [(check.at, check.passed) for check in checks]


def _weighings(session: Session, name: str) -> list[tuple[tuple[int, int], datetime]]:
    correction = aliased(Weighing)
    corrected = select(correction.id).where(correction.corrects_id == Weighing.id).exists()
    undone = select(Undone.event_id).where(Undone.event_id == Weighing.event_id).exists()
    wanted = select(Weighing).where(Weighing.balance == name, ~corrected, ~undone).order_by(Weighing.id)
    return [((row.id, row.sample_id), row.weighed_at) for row in session.scalars(wanted)]


def _hold(session: Session, number: int, name: str, words: str, act: Act) -> bool:
    sample = session.get_one(Sample, number)
    if has_ended(session, sample.id):
        return False
    reason = f"Weighed on {name} since the last good check of that balance, and it failed the next. {words}"
    on_sample(session, "held", sample, {"reason": reason}, following(act))
    return True
