"""Issue a coring plan, or its next version; the first plan makes the sample."""

from __future__ import annotations

import secrets
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain import coring
from tracker.domain.custody import Act
from tracker.domain.probe import checked_probe
from tracker.steps.append_event import on_sample
from tracker.storage.coring import Plan, Sample, samples_of
from tracker.storage.custody import StandingRow
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import facts_of, lot_numbered

# Read aloud and typed again without trouble, and more seeds than any programme will use.
MOST_SEED = 1_000_000


def plan_coring(
    session: Session,
    lot: int,
    act: Act,
    *,
    probe: str = "",
    inside_mm: str | Decimal,
    length_mm: str | Decimal,
    depth_mm: str | Decimal | None = None,
    cores: str | int | None = None,
    reason: str = "",
    seed: int | None = None,
) -> Plan:
    """Make the lot's plan and keep it frozen. Lengths in mm; seed None draws one, and keeps it.

    While the sample is only planned this is the next version of its plan; once it was cored, a plan is for a
    new sample of the lot. Raises what domain.coring.plan, domain.probe and lot_numbered raise.
    """
    row = lot_numbered(session, lot)
    sample = _planned_sample(session, row.id) or _new_sample(session, row.id)
    version = 1 + (session.scalar(select(func.max(Plan.version)).where(Plan.sample_id == sample.id)) or 0)
    made = coring.plan(
        facts_of(row),
        checked_probe(probe, inside_mm, length_mm),
        seed=secrets.randbelow(MOST_SEED) if seed is None else seed,
        practice=practice_in_force(session),
        cores=cores,
        reason=reason,
        depth_mm=depth_mm,
        version=version,
    )
    plan = Plan(
        sample_id=sample.id, version=version, body=made.to_dict(), issued_at=act.now, issued_by=act.by.key
    )
    session.add(plan)
    session.flush()
    on_sample(session, "plan issued", sample, {"plan": version, "body": plan.body}, act)
    return plan


def _planned_sample(session: Session, lot_id: int) -> Sample | None:
    wanted = select(Sample).join(StandingRow, StandingRow.sample_id == Sample.id)
    return session.scalar(wanted.where(Sample.lot_id == lot_id, StandingRow.state == "planned"))


def _new_sample(session: Session, lot_id: int) -> Sample:
    sample = Sample(lot_id=lot_id, number=len(samples_of(session, lot_id)) + 1)
    session.add(sample)
    session.flush()
    return sample
