"""Decide about a bag at the desk: take it in, with or without a remark, hold it, or refuse it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.custody import Act
from tracker.domain.findings import CAUTION, NOTE, Finding
from tracker.domain.findings import HOLD as HELD
from tracker.domain.receipt_reasons import ACCEPT, HOLD, REFUSE, REMARK, decided
from tracker.steps.append_event import on_sample
from tracker.steps.receive import receive
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow

_LEVELS = {ACCEPT: NOTE, REMARK: CAUTION, HOLD: HELD}


def receive_bag(
    session: Session,
    sample: Sample,
    act: Act,
    *,
    reason: str = "",
    action: str = "",
    told: str = "",
    box: Mapping[str, Any] | None = None,
    **seen: Any,
) -> EventRow:
    """Receive the bag as steps.receive does from what was seen; where there is a reason, do with it what is decided.

    reason: a name of domain.receipt_reasons; action: other than the usual one; told: the sentence to the producer,
    if other than the usual one; box: what was expected and found in the box it came in.

    Raises Refused `unknown-reason`, `unknown-action`, and what receive and custody raise: a bag that nobody signed
    away cannot be refused, for it is on record as with the giver anyway.
    """
    more: dict[str, Any] = {"box": dict(box)} if box else {}
    if not reason:
        return receive(session, sample, act, more=more, **seen)
    known, done = decided(reason, action)
    more |= {"reason": known.name, "action": done, "producer": told.strip() or known.sentence}
    if done == REFUSE:
        return on_sample(session, "transfer refused", sample, more, act)
    remark = Finding("bag-doubted", _LEVELS[done], f"At the desk: {known.name}.")
    return receive(session, sample, act, remarks=[remark], more=more, **seen)
