"""Weigh a sample: the empty sack, the sack with fresh hay, with dry hay, and with dry hay a second time, blind."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain import dry_matter, intake
from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Act
from tracker.domain.findings import CAUTION, Finding
from tracker.domain.practice import Practice
from tracker.domain.units import grams as read_grams
from tracker.errors import Refused
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.custody import EventRow
from tracker.storage.equipment import require_sound
from tracker.storage.intake import Weighing, before_on, reading_of, tare_of, weighings_in_force
from tracker.storage.kept import practice_in_force
from tracker.storage.tallies import tally_dry_again


def weigh(
    session: Session,
    sample: Sample,
    what: str,
    grams: str | Decimal,
    act: Act,
    *,
    balance: str = "",
    zeroed: bool = False,
    step: str | Decimal | None = None,
    batch: Sequence[Decimal] = (),
    raw: str = "",
) -> EventRow:
    """Keep one reading and what is to be said of it.

    what: "tare", "fresh", "dry" or "dry again"; grams as the balance shows them, sack and hay together unless it
    was zeroed on the sack; step: what the balance counts in, if not one in the last digit; batch: the readings of
    several empty sacks, for a tare that is their mean (grams is then left out of account); raw: the line as the
    balance sent it.

    Raises Refused `not-a-weight`, `unknown-weighing`, `tare-missing`, `tare-after-fresh`,
    `gross-not-above-tare`, `too-few-tares`, `balance-check-failed`, and what custody raises.
    """
    if what not in intake.WEIGHING_EVENTS:
        raise Refused(
            "unknown-weighing",
            f"{what!r} is not a weighing that is recorded.",
            field="what",
            remedy=f"Choose from {', '.join(intake.WEIGHING_EVENTS)}.",
        )
    if batch and what != "tare":
        raise Refused(
            "unknown-weighing",
            f"Empty sacks give a tare, not what is weighed {what}.",
            field="batch",
            remedy="Weigh this sack by itself.",
        )
    require_sound(session, balance.strip())
    practice = practice_in_force(session)
    before = {row.what: row for row in weighings_in_force(session, sample.id)}
    if what == "tare" and "fresh" in before:
        raise Refused(
            "tare-after-fresh",
            "The fresh weight of this sack stands already, and its tare would change under it.",
            field="what",
            remedy="If the tare was wrong, amend it: `tracker amend`.",
        )
    row = _row(sample, what, grams, act, balance=balance, zeroed=zeroed, step=step)
    findings: list[Finding] = []
    if batch:
        mean = intake.batch_tare(batch, practice)
        row.grams, row.batch_n, row.batch_sd, row.step = mean.mean, mean.n, mean.sd, mean.resolution
        findings += intake.tare_findings(mean, practice)
    findings += _findings(session, sample, row, before, practice)
    event = on_sample(session, intake.WEIGHING_EVENTS[what], sample, _data(row, raw), act, findings=findings)
    row.event_id = event.event_id
    _keep(session, row, before)
    return event


def _keep(session: Session, row: Weighing, before: Collection[str]) -> None:
    session.add(row)
    session.flush()
    if "dry again" in (row.what, *before):
        tally_dry_again(session, row.sample_id)


def _row(
    sample: Sample,
    what: str,
    grams: str | Decimal,
    act: Act,
    *,
    balance: str,
    zeroed: bool,
    step: str | Decimal | None,
) -> Weighing:
    return Weighing(
        sample_id=sample.id,
        what=what,
        grams=read_grams(grams, field="grams"),
        zeroed=zeroed,
        step=None if step is None else read_grams(step, field="step"),
        balance=balance.strip(),
        weighed_at=act.occurred_at,
    )


def _findings(
    session: Session, sample: Sample, row: Weighing, before: dict[str, Weighing], practice: Practice
) -> list[Finding]:
    tare = tare_of(before["tare"]) if "tare" in before and row.what != "tare" else None
    reading = reading_of(row)
    if row.what != "tare":
        # Refuses a gross reading without a tare, or below it, before anything rests on it.
        intake.net_of(reading, tare)
    planned = None
    if row.what == "fresh":
        planned = CoringPlan.from_dict(plan_in_force(session, sample.id).body).mass_g
    findings = list(
        intake.weighing_findings(
            reading,
            previous=before_on(session, row.balance),
            tare=tare,
            planned=planned,
            practice=practice,
        )
    )
    if row.what == "dry" and "fresh" in before:
        findings += dry_matter.dm_findings(tare, reading_of(before["fresh"]), reading, practice)
    if row.what == "dry again" and "dry" in before and "fresh" in before:
        hay = intake.net_of(reading_of(before["fresh"]), tare)
        agreement = dry_matter.constant_mass(before["dry"].grams, row.grams, hay, practice)
        if not agreement.agree:
            findings.append(Finding("dry-weighings-differ", CAUTION, agreement.words, ("DM",)))
    return findings


def _data(row: Weighing, raw: str) -> dict[str, Any]:
    data: dict[str, Any] = {"grams": str(row.grams), "balance": row.balance or None, "zeroed": row.zeroed}
    if row.step is not None:
        data["step"] = str(row.step)
    if row.batch_n is not None:
        data["batch_n"], data["batch_sd"] = str(row.batch_n), str(row.batch_sd)
    if raw:
        data["raw"] = raw
    return data
