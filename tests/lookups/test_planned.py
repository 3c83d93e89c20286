"""A sample's plan with what its card says of the lot."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, made, make_plan
from tracker.lookups.planned import Planned, planned
from tracker.steps.plan_coring import plan_coring
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database

PLACE = (Decimal("39.10"), Decimal("-96.10"))


def asked(season: Database, sample: Sample) -> Planned:
    with season.read() as session:
        return planned(session, sample_with_lot(session, sample.id))


def test_the_card_knows_the_lot_its_owner_and_the_plan(season: Database) -> None:
    found = asked(season, made(season, make_plan))
    assert (found.lot, found.producer, found.facts.field_name) == (1, "Oda Meadow", "Long field")
    assert (found.plan.version, found.plan.cores, found.plan.bale_count) == (1, 20, 118)
    assert (found.plan.entry, found.plan.probe.inside_mm) == ("end", Decimal("15.9"))
    assert sum(pick.cores for pick in found.plan.picks) == 20


def test_the_latest_version_is_in_force(season: Database) -> None:
    sample = made(season, make_plan)

    def again(session: Session) -> None:
        by = act(session, "tove", 9)
        plan_coring(session, sample.lot_id, by, inside_mm="19.0", length_mm="510", seed=8)

    done(season, again)
    found = asked(season, sample)
    assert (found.plan.version, found.plan.seed, str(found.plan.probe.inside_mm)) == (2, 8, "19.0")


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({}, "Upper Mill"),
        ({"storage": "barn"}, "barn; Upper Mill"),
        ({"location": PLACE}, "39.10, -96.10; Upper Mill"),
        ({"storage": "barn", "location": PLACE}, "barn; 39.10, -96.10; Upper Mill"),
    ],
)
def test_where_the_hay_lies_is_said_as_far_as_it_is_known(
    season: Database, changes: dict[str, object], where: str
) -> None:
    assert asked(season, made(season, make_plan, **changes)).where == where


def test_without_repeats_of_its_own_the_card_has_the_margins_that_the_plan_was_made_by(
    season: Database,
) -> None:
    found = asked(season, made(season, make_plan))
    assert (round(found.cp_margin, 3), round(found.ndf_margin, 3)) == (
        round(found.plan.cp_margin, 3),
        round(found.plan.ndf_margin, 3),
    )
