"""Oven loads."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    at,
    done,
    kinds,
    life,
    made,
    make_in_oven,
    make_out_of_oven,
    make_received,
    make_weighed,
    refused,
    remarks,
    standing,
)
from tracker.steps.dry import empty_oven, load_oven
from tracker.steps.end_sample import lose
from tracker.steps.hold import hold
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.intake import OvenLoad, OvenPlace


def loaded(
    session: Session, samples: list[Sample], name: str = "L-7", who: str = "carl", **more: Any
) -> OvenLoad:
    given = {"oven": "Oven 1", "set_celsius": "55.0", **more}
    return load_oven(session, name, samples, act(session, who, 260), **given)


def two(season: Database) -> list[Sample]:
    return [made(season, make_weighed), made(season, make_weighed, field="Hill")]


def test_a_load_goes_in_and_comes_out_together_in_the_order_given(season: Database) -> None:
    first, second = two(season)
    load = done(season, lambda s: loaded(s, [second, first]))
    assert (str(load.set_celsius), load.in_at, load.out_at) == ("55.0", at(260), None)
    with season.read() as session:
        places = session.execute(select(OvenPlace.position, OvenPlace.sample_id).order_by(OvenPlace.position))
        assert [tuple(place) for place in places] == [(1, second.id), (2, first.id)]
    out, found = done(season, lambda s: empty_oven(s, "L-7", act(s, "ana", 260 + 16 * 60)))
    assert (out.out_at, found) == (at(260 + 16 * 60), ())
    for sample in (first, second):
        assert standing(season, sample).state == "out of oven"
        assert life(season, sample)[-1].data["hours"] == "16.00"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"set_celsius": "hot"}, "not-a-number"),
        ({"set_celsius": "0"}, "not-positive"),
        # 300 C would char it; 130 F may be meant for 55 C.
        ({"set_celsius": "300"}, "not-an-oven-setting"),
        ({"samples": []}, "load-empty"),
        ({"name": ""}, "entry-incomplete"),
        ({"who": "ulf"}, "not-the-holder"),
    ],
)
def test_a_load_spoiled_in_one_field_does_not_go_in(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    given = {"samples": two(season), **changes}
    assert refused(season, lambda s: loaded(s, **given), **changes).code == code


def test_a_sack_stands_once_in_a_load(season: Database) -> None:
    first, second = two(season)
    assert refused(season, lambda s: loaded(s, [first, second, first])).code == "sample-twice"


def test_one_sack_that_may_not_go_in_keeps_the_whole_load_out(season: Database) -> None:
    ready, raw = made(season, make_weighed), made(season, make_received, field="Hill")
    assert refused(season, lambda s: loaded(s, [ready, raw])).code == "wrong-state"
    assert standing(season, ready).state == "weighed"


def test_one_sack_on_hold_keeps_the_whole_load_out(season: Database) -> None:
    first, second = two(season)
    done(season, lambda s: hold(s, second, act(s, "lena", 255), reason="which field?"))
    answer = refused(season, lambda s: loaded(s, [first, second]))
    assert (answer.code, "which field?" in answer.message) == ("on-hold", True)
    assert kinds(season, first)[-1] == "fresh weighed"


def test_a_loads_name_is_used_once(season: Database) -> None:
    first, second = two(season)
    done(season, lambda s: loaded(s, [first]))
    assert refused(season, lambda s: loaded(s, [second])).code == "load-known"


def test_a_load_comes_out_once(season: Database) -> None:
    made(season, make_out_of_oven)
    assert refused(season, lambda s: empty_oven(s, "L-1", act(s, "carl", 1300))).code == "load-out"


def test_a_load_that_never_went_in_does_not_come_out(season: Database) -> None:
    assert refused(season, lambda s: empty_oven(s, "L-9", act(s, "carl", 1300))).code == "unknown-load"


def test_a_load_does_not_come_out_before_it_went_in(season: Database) -> None:
    made(season, make_in_oven)
    assert refused(season, lambda s: empty_oven(s, "L-1", act(s, "carl", 260))).code == "oven-times-reversed"


@pytest.mark.parametrize(
    ("celsius", "hours", "codes"),
    [
        # Under 12 h it may not be dry; above 60 C the hay changes (UC Davis method 507).
        ("60", 12, []),
        ("61", 12, ["oven-hot"]),
        ("60", 11.5, ["oven-short"]),
        ("105", 2, ["oven-short", "oven-hot"]),
    ],
)
def test_each_sack_carries_what_is_to_be_said_of_its_load(
    season: Database, celsius: str, hours: float, codes: list[str]
) -> None:
    samples = two(season)
    done(season, lambda s: loaded(s, samples, set_celsius=celsius))
    done(season, lambda s: empty_oven(s, "L-7", act(s, "carl", 260 + hours * 60)))
    assert [remarks(life(season, sample)[-1]) for sample in samples] == [codes, codes]


def test_a_sack_may_go_back_in_with_another_load(season: Database) -> None:
    sample = made(season, make_out_of_oven)

    def again(session: Session) -> None:
        load_oven(session, "L-2", [sample], act(session, "carl", 1230), oven="Oven 1", set_celsius="55")
        empty_oven(session, "L-2", act(session, "carl", 1230 + 12 * 60))

    done(season, again)
    assert standing(season, sample).state == "out of oven"


def test_a_sack_lost_from_the_oven_does_not_keep_the_others_in_it(season: Database) -> None:
    first, second = two(season)
    done(season, lambda s: loaded(s, [first, second]))
    done(season, lambda s: lose(s, first, act(s, "carl", 300), circumstances="it burnt"))
    done(season, lambda s: empty_oven(s, "L-7", act(s, "carl", 1300)))
    assert (standing(season, first).state, standing(season, second).state) == ("lost", "out of oven")


def test_a_devices_name_for_the_load_names_each_sacks_event(season: Database) -> None:
    samples = two(season)

    def step(session: Session) -> None:
        named = act(session, "carl", 260, event_id="e-77")
        load_oven(session, "L-7", samples, named, oven="Oven 1", set_celsius="55")

    done(season, step)
    assert [life(season, sample)[-1].event_id for sample in samples] == ["e-77.1", "e-77.2"]


def test_the_setting_keeps_its_digits(season: Database) -> None:
    (sample, _) = two(season)
    done(season, lambda s: loaded(s, [sample], set_celsius=Decimal("55.0")))
    assert life(season, sample)[-1].data["set_celsius"] == "55.0"
