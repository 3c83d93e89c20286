"""A sample's plan with what its card and its labels say of the lot."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.hay_errors import Cored, Measured, hay_errors
from tracker.domain.lot import LotFacts
from tracker.lookups.sds_in_force import sds_in_force
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.lots import facts_of


@dataclass(frozen=True)
class Planned:
    """The plan in force; where: the lot's storage and place, in words.

    cp_margin, ndf_margin: half-widths at 95 % in % of dry matter, the laboratory included, by the SDs in force as
    they are for a report's values. The plan's own are what it was judged by, and stay as they were.
    """

    lot: int
    producer: str
    where: str
    facts: LotFacts
    plan: CoringPlan
    cp_margin: Decimal
    ndf_margin: Decimal


def planned(session: Session, sample: Sample) -> Planned:
    """The sample's plan; its lot, field and producer must be loaded."""
    lot = sample.lot
    plan = CoringPlan.from_dict(plan_in_force(session, sample.id).body)
    cp, ndf = expected_margins(session, plan)
    at = f"{lot.field.latitude}, {lot.field.longitude}" if lot.field.latitude is not None else ""
    return Planned(
        lot=lot.id,
        producer=lot.field.producer.name,
        where="; ".join(part for part in (lot.storage, at, lot.field.producer.place) if part),
        facts=facts_of(lot),
        plan=plan,
        cp_margin=cp,
        ndf_margin=ndf,
    )


def expected_margins(session: Session, plan: CoringPlan) -> tuple[Decimal, Decimal]:
    """Half-widths of CP and NDF at 95 % in % of dry matter, if the lot is cored so and analysed once."""
    cored = Cored(tuple(pick.cores for pick in plan.picks), plan.bale_count)
    # Their SDs are in points whatever the value is, so any value does; and nobody knows yet who will analyse it.
    wanted = [Measured(code, Decimal(0), "") for code in ("CP", "NDF")]
    margins = hay_errors(wanted, cored, None, sds_in_force(session)).margins
    return margins["CP"].half_width, margins["NDF"].half_width
