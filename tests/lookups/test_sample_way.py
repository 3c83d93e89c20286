"""Where a sample has been and is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from labels import payload
from tests.makers import (
    act,
    at,
    done,
    life,
    made,
    make_bag,
    make_cored,
    make_dried,
    make_ground,
    make_in_oven,
    make_plan,
    make_received,
    make_sealed,
    make_signed_away,
    make_weighed,
)
from tracker.domain.way import STATIONS
from tracker.lookups.sample_way import Way, way_of
from tracker.steps.amend import amend
from tracker.steps.core_lot import core_lot
from tracker.steps.end_sample import lose
from tracker.steps.hand_over import store
from tracker.steps.receive import receive
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.people import party


def way(season: Database, sample: Sample) -> Way:
    with season.read() as session:
        return way_of(session, sample_with_lot(session, sample.id))


def test_the_way_names_the_lot_and_its_owner(season: Database) -> None:
    found = way(season, made(season, make_received))
    assert (found.lot, found.sample, found.producer, found.field, found.cutting) == (
        1,
        1,
        "Oda Meadow",
        "Long field",
        2,
    )
    assert found.code == payload.shown(payload.read_code(found.code or ""))


@pytest.mark.parametrize(
    ("maker", "here", "state", "waits_for", "holder"),
    [
        (make_plan, "stack", "planned", "coring", None),
        (make_cored, "stack", "cored", "a bag and its tag", None),
        (make_bag, "bag", "bagged", "hand-over", "Tove Lind"),
        (make_sealed, "bag", "sealed", "hand-over", "Tove Lind"),
        (make_signed_away, "bag", "in transfer", "receipt", "Tove Lind"),
        (make_received, "desk", "received", "weighing in", "Carl Otis"),
        (make_weighed, "desk", "weighed", "the oven", "Carl Otis"),
        (make_in_oven, "oven", "in oven", "the end of drying", "Carl Otis"),
        (make_dried, "oven", "dried", "the coarse grind", "Carl Otis"),
        (make_ground, "mill", "ground", "the scan", "Carl Otis"),
    ],
)
def test_a_sample_is_at_one_station_and_waits_for_one_thing(
    season: Database, maker: Callable[..., Sample], here: str, state: str, waits_for: str, holder: str | None
) -> None:
    found = way(season, made(season, maker))
    assert tuple(station.name for station in found.stations) == STATIONS
    assert [station.name for station in found.stations if station.here] == [here]
    assert (found.state, found.waits_for, found.holder) == (state, waits_for, holder)


def test_each_station_reached_says_when_and_by_whom_in_full(season: Database) -> None:
    stops = {station.name: station for station in way(season, made(season, make_ground)).stations}
    assert (stops["stack"].by, stops["stack"].at) == ("Tove Lind", at(60))
    assert (stops["desk"].by, stops["desk"].at) == ("Carl Otis", at(240))
    assert (stops["mill"].by, stops["mill"].at) == ("Ana Field", at(1270))
    assert not stops["scan"].reached and not stops["answer"].reached


def test_while_it_is_signed_away_both_sides_are_named(season: Database) -> None:
    found = way(season, made(season, make_signed_away))
    assert (found.holder, found.in_transfer_to) == ("Tove Lind", "Carl Otis")


def test_the_steps_stand_in_order_with_words_and_remarks(season: Database) -> None:
    found = way(season, made(season, make_ground))
    assert [step.at for step in found.steps] == sorted(step.at for step in found.steps)
    assert found.steps[1].words.startswith("20 cores taken from the end.")
    assert found.steps[4].words == "Signed away to Carl Otis."
    assert found.steps[7].words == "Sack with fresh hay weighed: 268.6 g on B1."
    assert [step.remarks for step in found.steps[:-1]] == [()] * 12
    assert found.steps[-1].remarks[0].startswith("Dried, but not known to hold 90 %")


def test_a_chain_without_a_hole_has_no_gap(season: Database) -> None:
    assert way(season, made(season, make_ground)).gaps == ()


def test_a_bag_left_unlocked_is_said_with_its_length(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: store(s, sample, party(s, "shelf"), act(s, "tove", 100)))
    done(season, lambda s: receive(s, sample, act(s, "carl", 190), condition=["dry"]))
    (gap,) = way(season, sample).gaps
    assert "1 h 30 min" in gap.words and "Shelf by the door" in gap.words


def test_a_slow_hand_over_is_said(season: Database) -> None:
    sample = made(season, make_signed_away)
    # 61 minutes; 60 are let pass between two people (our choice).
    done(season, lambda s: receive(s, sample, act(s, "carl", 261), condition=["dry"], seal_state="intact"))
    (gap,) = way(season, sample).gaps
    assert "Tove Lind" in gap.words and "1 h 1 min" in gap.words


def test_a_hold_is_what_it_waits_for(season: Database) -> None:
    found = way(season, made(season, make_received, condition=["wet"]))
    assert found.waits_for == "a decision on its hold"
    assert found.holds == ("The bag came wet: its water may not be the hay's own.",)


def test_a_correction_is_read_in_its_place_beside_what_it_corrects(season: Database) -> None:
    sample = made(season, make_weighed)
    seq = life(season, sample)[-1].seq
    done(season, lambda s: amend(s, seq, {"grams": "258.6"}, act(s, "carl", 300), reason="misread"))
    *_, fresh, correction = way(season, sample).steps
    assert fresh.number == seq
    assert fresh.words == "Sack with fresh hay weighed: 258.6 g on B1. Corrected since: grams was 268.6."
    assert correction.words == "Correction: grams is 258.6. misread."


def test_a_late_entry_and_a_doubted_clock_are_said(season: Database) -> None:
    sample = made(season, make_plan)
    done(season, lambda s: core_lot(s, sample, act(s, "tove", 90, heard=60)))
    assert way(season, sample).steps[-1].words.endswith("clock ran ahead; the office's time stands here.")
    other = made(season, make_plan, field="Hill")
    done(season, lambda s: core_lot(s, other, act(s, "tove", 60, heard=60 + 2 * 24 * 60)))
    assert [step.late for step in way(season, other).steps] == [False, True]


def test_a_way_that_ended_waits_for_nothing_and_is_nowhere(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: lose(s, sample, act(s, "tove", 70), circumstances="fell off"))
    found = way(season, sample)
    assert (found.state, found.waits_for) == ("lost", None)
    assert not any(station.here for station in found.stations)


def test_the_plain_values_hold_times_with_their_offset(season: Database) -> None:
    plain = way(season, made(season, make_received)).as_dict()
    assert plain["events"][1]["at"] == "2026-06-20T10:00:00-05:00"
    assert plain["stations"][0] == {
        "name": "stack",
        "word": "cored",
        "at": "2026-06-20T10:00:00-05:00",
        "by": "Tove Lind",
        "here": False,
    }
    assert plain["gaps"] == [] and plain["events"][-1]["kind"] == "received"
