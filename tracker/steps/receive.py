"""Sign for a sample: who has it now, what the bag looked like, and whether that is what was sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.custody import Act, Event, fold
from tracker.domain.findings import HOLD, Finding
from tracker.domain.intake import Receipt, judge_receipt
from tracker.domain.units import number
from tracker.steps.append_event import on_sample, standing_of
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow, events_of
from tracker.storage.kept import practice_in_force


def receive(
    session: Session,
    sample: Sample,
    act: Act,
    *,
    condition: Sequence[str] = (),
    seal_state: str = "none",
    seal_read: str = "",
    temperature_c: str | Decimal | None = None,
    packages_expected: int | None = None,
    packages_found: int | None = None,
    discrepancy: str = "",
    unannounced: str = "",
    remarks: Sequence[Finding] = (),
    more: Mapping[str, Any] | None = None,
) -> EventRow:
    """Receive the sample. Whatever differs is recorded and puts it on hold; nothing keeps it from being received.

    temperature_c in degrees Celsius; unannounced: why it came without having been signed away; remarks and more:
    what else is to be kept of this receipt. Raises what domain.intake.judge_receipt and custody raise.
    """
    events = events_of(session, sample.id)
    standing = fold(events)
    degrees = None if temperature_c is None else number(temperature_c, field="temperature_c")
    receipt = Receipt(
        conditions=tuple(condition),
        seal_state=seal_state,
        seal_expected=standing.seal,
        seal_read=seal_read or None,
        temperature_c=degrees,
        packages_expected=packages_expected,
        packages_found=packages_found,
        discrepancy=discrepancy,
        age_days=_age_days(events, act),
    )
    findings = list(judge_receipt(receipt, practice_in_force(session)))
    if unannounced.strip() and standing.transfer is None:
        words = "It arrived without having been signed away."
        findings.append(Finding("unannounced", HOLD, words))
    findings += remarks
    data: dict[str, Any] = {
        "condition": list(condition),
        "seal_state": seal_state,
        "seal_expected": standing.seal,
        "seal_read": seal_read or None,
        "temperature_c": None if degrees is None else str(degrees),
        "discrepancy": discrepancy.strip() or None,
        "unannounced": unannounced.strip() or None,
        **(more or {}),
    }
    return on_sample(session, "received", sample, data, act, findings=findings)


def _age_days(events: Sequence[Event], act: Act) -> int | None:
    cored = [event.occurred_at for event in events if event.kind == "cored"]
    return (act.occurred_at - cored[-1]).days if cored else None


def break_seal(session: Session, sample: Sample, seal_read: str, act: Act) -> EventRow:
    """Open the sealed bag, reading the number first. Raises what domain.intake.judge_receipt and custody raise."""
    standing = standing_of(session, sample)
    receipt = Receipt(("dry",), "intact", standing.seal, seal_read)
    findings = judge_receipt(receipt, practice_in_force(session))
    data = {"seal_read": seal_read, "seal_expected": standing.seal}
    return on_sample(session, "seal broken", sample, data, act, findings=findings)
