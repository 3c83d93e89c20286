"""Which sample a person means by what he types."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from labels import payload
from tests.makers import (
    act,
    done,
    made,
    make_bag,
    make_cored,
    make_lot,
    make_plan,
    make_received,
    make_tag,
    refused,
    standing,
)
from tracker.lookups.find import lot_number, sample_named
from tracker.steps.bag_cores import replace_tag
from tracker.steps.end_sample import cancel
from tracker.storage.coring import Sample
from tracker.storage.engine import Database


def found(season: Database, text: str) -> Sample:
    with season.read() as session:
        return sample_named(session, text)


def code_of(season: Database, sample: Sample) -> str:
    code = standing(season, sample).code
    assert code is not None
    return code


def test_a_code_names_its_sample_however_it_is_typed(season: Database) -> None:
    made(season, make_received, field="Hill")
    sample = made(season, make_bag)
    code = code_of(season, sample)
    for text in (code, payload.shown(code), code.lower(), f" {code} "):
        assert found(season, text).id == sample.id


def test_what_is_found_comes_with_its_lot_field_and_producer(season: Database) -> None:
    sample = found(season, code_of(season, made(season, make_bag)))
    assert (sample.lot.field.name, sample.lot.field.producer.name) == ("Long field", "Oda Meadow")


@pytest.mark.parametrize("text", ["lot 1", "LOT 1", "lot1", " Lot  1 "])
def test_a_lots_number_names_its_sample(season: Database, text: str) -> None:
    sample = made(season, make_plan)
    assert found(season, text).id == sample.id


def test_of_several_samples_of_a_lot_the_newest_is_meant(season: Database) -> None:
    first = made(season, make_cored)
    second = made(season, lambda s: make_plan(s, first.lot_id, minute=70))
    assert found(season, f"lot {first.lot_id}").id == second.id


def test_one_that_has_ended_is_meant_only_where_there_is_no_other(season: Database) -> None:
    first = made(season, make_cored)
    second = made(season, lambda s: make_plan(s, first.lot_id, minute=70))
    done(season, lambda s: cancel(s, second, act(s, "tove", 80), reason="one is enough"))
    assert found(season, f"lot {first.lot_id}").id == first.id
    alone = made(season, make_plan, field="Hill")
    done(season, lambda s: cancel(s, alone, act(s, "tove", 80), reason="sold"))
    assert found(season, f"lot {alone.lot_id}").id == alone.id


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("lot 99", "unknown-lot"),
        ("lot 1", "no-sample"),
        ("RT2GZSK2", "unknown-tag"),
        ("250.0", "code-characters"),
        ("1", "code-length"),
        ("lot", "code-length"),
        ("", "code-missing"),
    ],
)
def test_what_names_no_sample_is_refused_by_what_it_is(season: Database, text: str, code: str) -> None:
    done(season, make_lot)
    assert refused(season, lambda s: sample_named(s, text)).code == code


def test_a_tag_on_no_bag_yet_names_no_sample(season: Database) -> None:
    code = done(season, make_tag)
    assert refused(season, lambda s: sample_named(s, code)).code == "tag-unbound"


def test_a_tag_that_was_replaced_names_no_sample(season: Database) -> None:
    sample = made(season, make_bag)
    old = code_of(season, sample)

    def replaced(session: Session) -> None:
        fresh = make_tag(session, sample.lot_id, minute=66)
        replace_tag(session, sample, fresh, act(session, "tove", 70), reason="torn")

    done(season, replaced)
    assert refused(season, lambda s: sample_named(s, old)).code == "tag-void"
    assert found(season, code_of(season, sample)).id == sample.id


@pytest.mark.parametrize(
    ("text", "number"),
    [("lot 12", 12), ("Lot12", 12), ("12", None), ("lot", None), ("lot -1", None), ("lot ²", None)],
)
def test_a_bare_number_is_no_lot(text: str, number: int | None) -> None:
    assert lot_number(text) == number
