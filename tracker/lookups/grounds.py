"""What a sample's numbers rest on, asked once for all that is worked out from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.custody import Event, that_count
from tracker.domain.hay_errors import Cored
from tracker.domain.lot import FORAGE_KINDS
from tracker.domain.own_sds import Sds
from tracker.lookups.cores_taken import cores_taken
from tracker.lookups.dry_matter import DryMatter, dry_matter_from
from tracker.lookups.sds_in_force import sds_in_force
from tracker.storage.analysis import Standing, values_in_force
from tracker.storage.coring import Sample, plan_in_force
from tracker.storage.custody import events_of
from tracker.storage.intake import weighings_in_force


@dataclass(frozen=True)
class Grounds:
    """events: as they were recorded; standing: the values that stand; sds: with the practice in force."""

    events: Sequence[Event]
    plan: CoringPlan
    standing: Standing
    dm: DryMatter
    sds: Sds
    forage_class: str

    @cached_property
    def done(self) -> list[Event]:
        """The events as corrected, without those that were taken back."""
        return that_count(self.events)

    @cached_property
    def cored(self) -> Cored | None:
        """The cores of each cored bale; None before the lot was cored."""
        return cores_taken(self.plan, self.done)


def grounds_of(session: Session, sample: Sample) -> Grounds:
    """What there is of this sample; its lot must be loaded."""
    events, sds = events_of(session, sample.id), sds_in_force(session)
    standing, weighings = values_in_force(session, sample.id), weighings_in_force(session, sample.id)
    return Grounds(
        events,
        CoringPlan.from_dict(plan_in_force(session, sample.id).body),
        standing,
        dry_matter_from(standing, weighings, events, sds.practice),
        sds,
        FORAGE_KINDS[sample.lot.forage],
    )
