"""Issuing a coring plan and its next versions."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, kinds, made, make_cored, make_lot, make_plan, plans, refused, standing
from tracker.steps.end_sample import cancel
from tracker.steps.plan_coring import MOST_SEED, plan_coring
from tracker.steps.set_practice import set_practice
from tracker.storage.coring import Plan, Sample
from tracker.storage.engine import Database

PROBE = {"inside_mm": "15.9", "length_mm": "510"}


def planned(session: Session, lot: int, minute: float = 5, **changes: Any) -> Plan:
    return plan_coring(session, lot, act(session, "tove", minute), **{**PROBE, "seed": 3, **changes})


def test_the_first_plan_makes_the_sample(season: Database) -> None:
    sample = made(season, make_plan)
    assert (sample.number, kinds(season, sample)) == (1, ["plan issued"])
    assert standing(season, sample).state == "planned"
    (body,) = plans(season, sample)
    assert (body["bale_count"], body["cores"], body["entry"], body["seed"]) == ("118", "20", "end", "3")


def test_a_second_plan_is_the_next_version_and_leaves_the_first_as_it_was(season: Database) -> None:
    sample = made(season, make_plan)
    (first,) = plans(season, sample)
    again = done(season, lambda s: planned(s, sample.lot_id, 7, seed=4))
    assert (again.sample_id, again.version) == (sample.id, 2)
    before, after = plans(season, sample)
    assert before == first
    assert (after["version"], after["seed"]) == ("2", "4")


def test_once_cored_a_plan_is_for_a_new_sample(season: Database) -> None:
    sample = made(season, make_cored)
    plan = done(season, lambda s: planned(s, sample.lot_id, 70))
    with season.read() as session:
        fresh = session.get_one(Sample, plan.sample_id)
    assert (fresh.id != sample.id, fresh.number, plan.version) == (True, 2, 1)


def test_after_one_was_called_off_a_plan_is_for_a_new_sample(season: Database) -> None:
    sample = made(season, make_plan)
    done(season, lambda s: cancel(s, sample, act(s, "tove", 10), reason="rain"))
    plan = done(season, lambda s: planned(s, sample.lot_id, 20))
    assert plan.sample_id != sample.id


def test_a_seed_not_given_is_drawn_and_kept(season: Database) -> None:
    lot = done(season, make_lot)
    plan = done(season, lambda s: planned(s, lot.id, seed=None))
    assert 0 <= int(plan.body["seed"]) < MOST_SEED


def test_the_plan_keeps_the_practice_it_was_made_by(season: Database) -> None:
    sample = made(season, make_plan)
    words = {"source": "our trial", "reason": "uneven hay"}
    done(season, lambda s: set_practice(s, "cores", "30", act(s, "lena", 8), **words))
    done(season, lambda s: planned(s, sample.lot_id, 9))
    before, after = plans(season, sample)
    assert (before["cores"], after["cores"]) == ("20", "30")


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"inside_mm": "five"}, "not-a-number", "inside_mm"),
        ({"inside_mm": "3"}, "probe-too-narrow", "inside_mm"),
        ({"inside_mm": "90"}, "probe-too-wide", "inside_mm"),
        ({"length_mm": "200"}, "probe-too-short", "length_mm"),
        ({"length_mm": "5000"}, "probe-too-long", "length_mm"),
        ({"depth_mm": "100"}, "depth-too-shallow", "depth_mm"),
        ({"depth_mm": "511"}, "depth-beyond-probe", "depth_mm"),
        ({"cores": "14", "reason": "tired"}, "too-few-cores", "cores"),
        ({"cores": "16"}, "too-few-cores", "reason"),
        ({"cores": "1000"}, "too-many-cores", "cores"),
    ],
)
def test_a_plan_spoiled_in_one_field_makes_no_sample(
    season: Database, changes: dict[str, Any], code: str, field: str
) -> None:
    lot = done(season, make_lot)
    answer = refused(season, lambda s: planned(s, lot.id, **changes), **changes)
    assert (answer.code, answer.field) == (code, field)


def test_fewer_cores_are_planned_with_a_reason(season: Database) -> None:
    lot = done(season, make_lot)
    plan = done(season, lambda s: planned(s, lot.id, cores="16", reason="half the lot is sold"))
    assert (plan.body["cores"], plan.body["fewer_cores_reason"]) == ("16", "half the lot is sold")


def test_there_is_no_plan_without_a_lot(season: Database) -> None:
    assert refused(season, lambda s: planned(s, 99)).code == "unknown-lot"
