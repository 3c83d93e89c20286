"""Registering a lot, a file of lots, and a lot that is too large."""

from __future__ import annotations

from datetime import UTC
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tests.makers import LOT, act, at, done, everything, make_lot, refused
from tracker.domain.custody import Act
from tracker.errors import Refused, TrackerError
from tracker.files.out import write_csv
from tracker.lookups.kept_refusals import Refusal, refusals
from tracker.steps.register_lot import NewLot
from tracker.steps.register_lots import LineAnswer, register_in_parts, register_lots
from tracker.steps.set_practice import set_practice
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.lots import Field, Lot, lot_numbered
from tracker.storage.people import party

GOOD = {
    "producer": "Oda Meadow",
    "field": "Long field",
    "cutting": "2",
    "forage": "alfalfa",
    "harvested": "2026-06-01",
    "bale_shape": "small square",
    "bale_count": "118",
    "bale_mass_lb": "61.0",
    "location": "39.10, -96.10",
}


def test_a_lot_is_kept_as_it_was_given(season: Database) -> None:
    number = done(season, lambda s: make_lot(s, bale_mass="61.0", storage="barn").id)
    with season.read() as session:
        lot = lot_numbered(session, number)
        assert (lot.season, lot.cutting, lot.forage, lot.bale_count) == (2026, 2, "alfalfa", 118)
        assert str(lot.bale_mass) == "61.0"
        assert (lot.field.name, lot.field.producer.name) == ("Long field", "Oda Meadow")
        event = session.scalars(select(EventRow)).one()
    assert (event.kind, event.lot_id, event.by) == ("lot registered", number, "tove")


def test_the_log_names_no_producer(season: Database) -> None:
    done(season, make_lot)
    with season.read() as session:
        said = str(session.scalars(select(EventRow.data)).one())
    assert "Oda" not in said and "Long field" not in said


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"producer": "Oda Medow"}, "unknown-producer"),
        ({"field": " "}, "no-field-name"),
        ({"cutting": "0"}, "not-a-count"),
        ({"cutting": "13"}, "not-a-cutting"),
        ({"forage": "straw"}, "unknown-forage-kind"),
        ({"harvested": "1 June"}, "not-a-date"),
        ({"harvested": "2026-06-21"}, "harvest-in-future"),
        ({"bale_shape": "octagon"}, "unknown-bale-shape"),
        ({"bale_count": "0"}, "not-a-count"),
        ({"bale_mass": "1300"}, "implausible-bale-mass"),
        ({"bale_mass": "61,5"}, "not-a-number"),
        ({"bale_mass_unit": "stone"}, "unknown-unit"),
        ({"storage": "moon"}, "unknown-storage"),
    ],
)
def test_a_lot_spoiled_in_one_field_is_refused_whole(
    season: Database, changes: dict[str, str], code: str
) -> None:
    assert refused(season, lambda s: make_lot(s, **changes), **changes).code == code


def test_a_producer_misspelt_is_met_with_the_right_name(season: Database) -> None:
    assert "Oda Meadow" in refused(season, lambda s: make_lot(s, producer="Oda Medow")).remedy


def test_one_cutting_of_one_field_is_one_lot(season: Database) -> None:
    number = done(season, lambda s: make_lot(s).id)
    again = refused(season, make_lot)
    assert (again.code, f"lot {number}" in again.message) == ("lot-known", True)


def test_another_cutting_or_season_of_the_field_is_another_lot(season: Database) -> None:
    def three(session: Session) -> list[Lot]:
        return [
            make_lot(session),
            make_lot(session, cutting="1"),
            make_lot(session, harvested="2025-06-01"),
        ]

    lots = done(season, three)
    assert len({lot.id for lot in lots}) == 3
    assert len({lot.field_id for lot in lots}) == 1


# 400 round bales of 1,300 lb are 260 short tons; one sample speaks for 200 (Putnam & Orloff, NFTA).
TOO_LARGE: dict[str, Any] = {"bale_shape": "round", "bale_count": "401", "bale_mass": "1300"}


def test_a_lot_too_large_is_refused_with_a_split_on_offer(season: Database) -> None:
    answer = refused(season, lambda s: make_lot(s, **TOO_LARGE))
    assert answer.code == "lot-too-large"
    assert "201 and 200" in answer.remedy


def test_a_lot_too_large_is_registered_in_parts(season: Database) -> None:
    given = NewLot(**{**vars(LOT), **TOO_LARGE})
    lots = done(season, lambda s: register_in_parts(s, given, act(s, "tove", 0)))
    assert [(lot.part, lot.bale_count) for lot in lots] == [("A", 201), ("B", 200)]
    again = refused(season, lambda s: register_in_parts(s, given, act(s, "tove", 1)))
    assert again.code == "lot-known"


def test_a_lot_of_fair_size_is_not_divided(season: Database) -> None:
    (lot,) = done(season, lambda s: register_in_parts(s, LOT, act(s, "tove", 0)))
    assert (lot.part, lot.bale_count) == ("", 118)


def test_the_programme_may_set_a_smaller_limit(season: Database) -> None:
    def smaller(session: Session) -> None:
        words = {"source": "county practice", "reason": "uneven fields"}
        set_practice(session, "lot_limit", "3", act(session, "lena", 0), **words)

    make_lot_is_fine = done(season, lambda s: make_lot(s, field="First").id)
    done(season, smaller)
    assert make_lot_is_fine
    # 118 bales of 61 lb are 3.6 short tons.
    assert refused(season, make_lot).code == "lot-too-large"


def a_file(*changes: dict[str, str]) -> bytes:
    rows = [{**GOOD, **change} for change in changes]
    return write_csv([list(GOOD), *(list(row.values()) for row in rows)])


def taken_in(season: Database, content: bytes, minute: int = 0) -> tuple[LineAnswer, ...]:
    answers: tuple[LineAnswer, ...] = done(
        season, lambda s: register_lots(s, "lots.csv", content, act(s, "carl", minute))
    )
    return answers


def kept(season: Database) -> tuple[Refusal, ...]:
    with season.read() as session:
        return refusals(session)


def test_a_file_of_lots_is_registered_row_by_row(season: Database) -> None:
    answers = taken_in(season, a_file({}, {"field": "Short field"}))
    assert [(answer.line, answer.complaint) for answer in answers] == [(2, None), (3, None)]
    with season.read() as session:
        assert session.scalars(select(Lot.id).order_by(Lot.id)).all() == [answer.made for answer in answers]
        assert {str(mass) for mass in session.scalars(select(Lot.bale_mass))} == {"61.0"}
        assert {str(degrees) for degrees in session.scalars(select(Field.latitude))} == {"39.10"}


def test_the_same_file_twice_changes_nothing(season: Database) -> None:
    content = a_file({}, {"field": "Short field"})
    taken_in(season, content)
    before = everything(season)
    answers = taken_in(season, content, minute=30)
    assert everything(season) == before
    assert [answer.known for answer in answers] == [True, True]
    assert kept(season) == ()


def test_a_bad_row_is_kept_with_its_line_and_does_not_touch_the_others(season: Database) -> None:
    answers = taken_in(season, a_file({"cutting": "second"}, {}, {"producer": "Nobody", "field": "Hill"}))
    codes = [answer.complaint.code if answer.complaint else None for answer in answers]
    assert codes == ["not-a-count", None, "unknown-producer"]
    later, first = kept(season)
    assert (first.line, first.code, first.given["cutting"]) == (2, "not-a-count", "second")
    assert (later.line, later.code, later.given["producer"]) == (4, "unknown-producer", "Nobody")
    assert (later.by, later.act) == ("carl", "register lots from lots.csv")
    with season.read() as session:
        assert session.scalars(select(Field.name)).all() == ["Long field"]


def test_a_file_repaired_takes_in_only_what_was_refused(season: Database) -> None:
    taken_in(season, a_file({}, {"field": "Hill", "bale_count": "many"}))
    answers = taken_in(season, a_file({}, {"field": "Hill"}), minute=30)
    assert [(answer.known, answer.made is not None) for answer in answers] == [(True, False), (False, True)]


def test_a_file_that_is_no_list_of_lots_is_refused(season: Database) -> None:
    answer = refused(season, lambda s: register_lots(s, "lots.csv", b"a,b\n1,2\n", act(s, "carl", 0)))
    assert (answer.code, answer.line) == ("columns-missing", 1)


def test_the_caller_hears_how_far_the_file_is(season: Database) -> None:
    heard: list[tuple[int, int]] = []
    content = a_file({}, {"field": "Hill"})

    def step(session: Session) -> None:
        by = Act(party(session, "carl"), at(0), at(0).astimezone(UTC))
        register_lots(session, "lots.csv", content, by, progress=lambda now, of: heard.append((now, of)))

    done(season, step)
    assert heard == [(1, 2), (2, 2)]


def test_a_bale_in_kilograms_is_kept_as_it_was_weighed(season: Database) -> None:
    lot = done(season, lambda s: make_lot(s, bale_mass="27.60", bale_mass_unit="kg"))
    assert (lot.bale_mass, str(lot.bale_mass), lot.bale_mass_unit) == (Decimal("27.60"), "27.60", "kg")


def test_events_are_numbered_without_holes_over_refusals(season: Database) -> None:
    done(season, make_lot)
    with pytest.raises(TrackerError) as caught, season.act("register", "tove", {}) as session:
        make_lot(session, field="Hill")
        make_lot(session, forage="straw", field="Dale")
    assert isinstance(caught.value, Refused)
    done(season, lambda s: make_lot(s, field="Hill"))
    with season.read() as session:
        assert session.scalars(select(EventRow.seq).order_by(EventRow.seq)).all() == [1, 2]
        assert session.scalar(select(func.count()).select_from(Lot)) == 2
