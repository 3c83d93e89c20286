"""A sample's plan with what its card and its labels say of the lot."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.lot import LotFacts
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.lots import facts_of


@dataclass(frozen=True)
class Planned:
    """The plan in force; where: the lot's storage and place, in words."""

    lot: int
    producer: str
    where: str
    facts: LotFacts
    plan: CoringPlan


def planned(session: Session, sample: Sample) -> Planned:
    """The sample's plan; its lot, field and producer must be loaded."""
    lot = sample.lot
    at = f"{lot.field.latitude}, {lot.field.longitude}" if lot.field.latitude is not None else ""
    return Planned(
        lot=lot.id,
        producer=lot.field.producer.name,
        where="; ".join(part for part in (lot.storage, at, lot.field.producer.place) if part),
        facts=facts_of(lot),
        plan=CoringPlan.from_dict(plan_in_force(session, sample.id).body),
    )
