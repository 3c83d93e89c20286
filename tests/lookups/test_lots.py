"""The lists of lots, people and producers."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from labels import payload
from tests.makers import done, made, make_bag, make_cored, make_lot, make_plan, standing
from tracker.lookups.lots import LotLine, lots, lots_without_bag, parties, producers
from tracker.storage.engine import Database


def listed(season: Database) -> tuple[LotLine, ...]:
    with season.read() as session:
        return lots(session)


def test_a_season_without_lots_has_an_empty_list(season: Database) -> None:
    assert listed(season) == ()


def test_a_lot_is_listed_as_it_was_registered(season: Database) -> None:
    done(season, lambda s: make_lot(s, bale_mass="61.0", storage="barn"))
    assert listed(season) == (
        LotLine(
            lot=1,
            producer="Oda Meadow",
            field="Long field",
            cutting=2,
            part="",
            forage="alfalfa",
            harvested=date(2026, 6, 1),
            bale_shape="small square",
            bale_count=118,
            bale_mass=Decimal("61.0"),
            bale_mass_unit="[lb_av]",
            storage="barn",
            code=None,
            state="registered",
        ),
    )
    assert str(listed(season)[0].bale_mass) == "61.0"


def test_lots_stand_by_number_with_the_state_of_their_sample(season: Database) -> None:
    done(season, make_lot)
    made(season, make_plan, field="Hill")
    sample = made(season, make_bag, field="Dale")
    found = listed(season)
    assert [(one.lot, one.field, one.state) for one in found] == [
        (1, "Long field", "registered"),
        (2, "Hill", "planned"),
        (3, "Dale", "bagged"),
    ]
    assert found[2].code == payload.shown(standing(season, sample).code or "")


def test_a_lot_with_two_samples_is_listed_once_with_the_newest(season: Database) -> None:
    sample = made(season, make_cored)
    made(season, lambda s: make_plan(s, sample.lot_id, minute=70))
    (one,) = listed(season)
    assert one.state == "planned"


def test_the_lots_without_a_bag_are_those_that_wait_for_their_tags(season: Database) -> None:
    done(season, make_lot)
    for maker in (make_plan, make_cored, make_bag):
        made(season, maker, field=maker.__name__)
    bagged = made(season, make_bag, field="Twice")
    made(season, lambda s: make_plan(s, bagged.lot_id, minute=70))
    with season.read() as session:
        found = lots_without_bag(session)
    assert [one.lot for one in found] == [1, 2, 3, 5]
    assert found == tuple(one for one in listed(season) if one.state in ("registered", "planned", "cored"))


def test_everyone_that_can_hold_a_sample_is_listed(season: Database) -> None:
    with season.read() as session:
        found = {one.key: (one.kind, one.secure) for one in parties(session)}
    assert (found["box"], found["shelf"], found["van"]) == (
        ("place", True),
        ("place", False),
        ("carrier", False),
    )


def test_producers_are_listed_with_their_place(season: Database) -> None:
    with season.read() as session:
        (one,) = producers(session)
    assert (one.name, one.place) == ("Oda Meadow", "Upper Mill")
