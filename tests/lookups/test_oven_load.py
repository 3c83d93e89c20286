"""One oven load as its sheet shows it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy.orm import Session

from labels import payload
from tests.makers import act, at, done, life, made, make_dried, make_in_oven, make_weighed, standing
from tracker.errors import NotFound
from tracker.lookups.oven_load import Load, load_named
from tracker.steps.amend import amend
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.set_practice import set_practice
from tracker.storage.coring import Sample
from tracker.storage.engine import Database


def load(season: Database, name: str = "L-1") -> Load:
    with season.read() as session:
        return load_named(session, name)


def three(session: Session) -> list[Sample]:
    """Three sacks loaded in the order in which they stand in the oven, the last one made first."""
    sacks = [make_weighed(session, field=field, fresh=fresh) for field, fresh in FRESH.items()][::-1]
    load_oven(session, "L-3", sacks, act(session, "carl", 260), oven="Oven 2", set_celsius="55.0")
    return sacks


FRESH = {"North": "268.6", "South": "251.3", "West": "240.20"}


def test_a_load_says_where_how_hot_and_since_when(season: Database) -> None:
    made(season, make_in_oven)
    found = load(season)
    assert (found.name, found.oven, str(found.set_celsius)) == ("L-1", "Oven 1", "55")
    assert (found.in_at, found.out_at) == (at(260), None)
    # The offset of the device that recorded it, not the office's.
    assert found.in_at.isoformat() == "2026-06-20T13:20:00-05:00"


def test_the_sacks_stand_by_position_with_code_lot_and_weights(season: Database) -> None:
    sacks = done(season, three)
    found = load(season, "L-3").sacks
    assert [sack.position for sack in found] == [1, 2, 3]
    assert [sack.lot for sack in found] == [sample.lot_id for sample in sacks]
    assert [str(sack.fresh) for sack in found] == ["240.20", "251.3", "268.6"]
    assert {(str(sack.tare), sack.dry) for sack in found} == {("18.6", None)}
    codes = [standing(season, sample).code or "" for sample in sacks]
    assert [sack.code for sack in found] == [payload.shown(code) for code in codes]


@pytest.mark.parametrize(("hours", "due"), [(None, 12), ("16", 16), ("12.5", 12.5)])
def test_a_load_is_due_once_it_had_the_hours_of_the_practice(
    season: Database, hours: str | None, due: float
) -> None:
    # 12 h: UC Davis method 507; common practice is overnight.
    made(season, make_in_oven)
    if hours:
        done(
            season,
            lambda s: set_practice(
                s, "oven_hours_least", hours, act(s, "lena", 0), source="ours", reason="thick sacks"
            ),
        )
    assert load(season).due_at == at(260) + timedelta(hours=due)


def test_a_load_that_came_out_says_when_and_its_sacks_their_dry_weight(season: Database) -> None:
    made(season, make_dried)
    found = load(season)
    assert found.out_at == at(1220)
    assert [sack.dry for sack in found.sacks] == [Decimal("251.1")]


def test_a_corrected_weight_is_the_one_on_the_sheet(season: Database) -> None:
    sample = made(season, make_dried)
    (seq,) = [event.seq for event in life(season, sample) if event.kind == "dry weighed"]
    done(season, lambda s: amend(s, seq, {"grams": "241.1"}, act(s, "carl", 1400), reason="misread"))
    assert [sack.dry for sack in load(season).sacks] == [Decimal("241.1")]


def test_each_load_is_asked_for_by_its_name(season: Database) -> None:
    done(season, three)
    made(season, make_in_oven, field="East")
    done(season, lambda s: empty_oven(s, "L-3", act(s, "carl", 1220)))
    assert (len(load(season, "L-3").sacks), len(load(season).sacks)) == (3, 1)
    assert load(season).out_at is None


@pytest.mark.parametrize("name", ["L-9", "l-1", ""])
def test_a_load_nobody_made_is_not_known(season: Database, name: str) -> None:
    made(season, make_in_oven)
    with pytest.raises(NotFound) as caught:
        load(season, name)
    assert (caught.value.code, caught.value.field) == ("unknown-load", "load")
