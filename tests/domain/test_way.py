"""The way as a line of seven stations."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.domain.makers import (
    ANALYST,
    CLERK,
    LEAD,
    LOCKER,
    MORNING,
    Life,
    at_desk,
    bagged,
    dried,
    scanned,
    signed_away,
)
from tracker.domain.custody import AT_LAB, ENDED, IN_FIELD, KINDS, Standing
from tracker.domain.way import STATIONS, WAITING, Station, here_now, stations, waits_for

STATES = ("planned", "cored", *IN_FIELD, "in transfer", *AT_LAB)


def line(life: Life) -> dict[str, Station]:
    return {stop.name: stop for stop in stations(life.events)}


def reached(life: Life) -> list[str]:
    return [stop.name for stop in stations(life.events) if stop.reached]


def here(life: Life) -> list[str]:
    return [stop.name for stop in stations(life.events) if stop.here]


def reported() -> Life:
    return scanned().then("reported", LEAD)


def test_the_way_has_seven_stations_in_order() -> None:
    assert STATIONS == ("stack", "bag", "desk", "oven", "mill", "scan", "answer")
    assert tuple(stop.name for stop in stations([])) == STATIONS


def test_before_anything_happened_the_sample_is_at_the_stack_and_no_station_is_reached() -> None:
    assert (reached(Life()), here(Life())) == ([], ["stack"])


@pytest.mark.parametrize(
    ("life", "place", "word", "passed"),
    [
        (Life().then("plan issued", LEAD), "stack", "planned", 0),
        (Life().then("plan issued", LEAD).then("cored"), "stack", "cored", 1),
        (bagged(), "bag", "bagged", 2),
        (bagged().then("sealed"), "bag", "sealed", 2),
        (at_desk(), "desk", "received", 3),
        (at_desk().then("fresh weighed", CLERK), "desk", "weighed", 3),
        (at_desk().then("fresh weighed", CLERK).then("oven in", CLERK), "oven", "in oven", 4),
        (dried(), "oven", "dried", 4),
        (dried().then("coarse ground", ANALYST), "mill", "coarse ground", 5),
        (scanned(), "scan", "scanned", 6),
    ],
)
def test_the_sample_is_at_one_station_with_its_state_as_the_word(
    life: Life, place: str, word: str, passed: int
) -> None:
    assert here(life) == [place]
    assert line(life)[place].word == word
    assert reached(life) == list(STATIONS[:passed])


def test_a_station_says_when_it_was_reached_and_by_whom() -> None:
    stop = line(scanned())["desk"]
    # The sixth event of the makers, a minute each.
    assert (stop.at, stop.by, stop.word) == (MORNING + timedelta(minutes=6), "ines", "received")


def test_a_station_left_behind_keeps_its_latest_event() -> None:
    stops = line(scanned())
    assert (stops["oven"].word, stops["mill"].word, stops["scan"].word) == (
        "dry weighed",
        "fine ground",
        "scanned",
    )
    assert stops["oven"].at == MORNING + timedelta(minutes=11)


def test_a_sack_put_back_into_the_oven_is_there_now() -> None:
    life = dried().then("oven in", ANALYST)
    assert here(life) == ["oven"] and line(life)["oven"].word == "in oven"


def test_a_bag_signed_away_is_still_where_it_was() -> None:
    assert here(signed_away()) == ["bag"]
    lab = dried().then("relinquished", CLERK, to=LOCKER.as_data())
    assert here(lab) == ["oven"]


def test_the_report_is_the_last_station_also_once_archived() -> None:
    life = reported()
    assert (here(life), reached(life)) == (["answer"], list(STATIONS))
    assert line(life)["answer"].word == "reported"
    assert here(life.then("archived", CLERK, place=LOCKER.as_data())) == ["answer"]


def test_a_sample_scanned_again_is_at_the_scan_again() -> None:
    assert here(reported().then("scanned", ANALYST)) == ["scan"]


@pytest.mark.parametrize("kind", ["lost", "disposed", "returned"])
def test_a_way_that_ended_is_nowhere_and_keeps_what_was_reached(kind: str) -> None:
    life = reported().then(kind, CLERK)
    assert here(life) == []
    assert reached(life) == list(STATIONS)


def test_an_outside_analysis_reaches_the_scan() -> None:
    life = at_desk().then("analysed outside", LEAD)
    assert "scan" in reached(life) and here(life) == ["desk"]


def test_a_scan_heard_of_late_does_not_stand_for_a_newer_one() -> None:
    life = scanned().then("scanned", ANALYST, minute=13, late_reason="the file came late")
    assert line(life)["scan"].at == MORNING + timedelta(minutes=14)


def test_a_correction_does_not_move_a_sample() -> None:
    life = at_desk()
    before = stations(life.events)
    assert stations(life.then("amended", LEAD, target="e2", changes={"cores_taken": "19"}).events) == before


@pytest.mark.parametrize("state", STATES)
def test_every_state_on_the_way_waits_for_something_until_the_answer(state: str) -> None:
    waiting = waits_for(state)
    assert (waiting is None) is (state in ("reported", "archived"))
    assert waiting is None or waiting in WAITING


@pytest.mark.parametrize(
    ("state", "waiting"),
    [
        ("planned", "coring"),
        ("sealed", "hand-over"),
        ("in transfer", "receipt"),
        ("received", "weighing in"),
        ("dried", "the coarse grind"),
        ("ground", "the scan"),
        ("scanned", "release"),
        ("none", None),
        ("reported", None),
    ],
)
def test_a_sample_waits_for_one_thing(state: str, waiting: str | None) -> None:
    assert waits_for(state) == waiting


@pytest.mark.parametrize("state", ENDED)
def test_what_has_ended_waits_for_nothing_even_on_hold(state: str) -> None:
    assert waits_for(state, "came wet") is None


def test_a_hold_waits_for_its_decision_but_a_receipt_and_an_oven_come_first() -> None:
    assert waits_for("ground", "came wet") == "a decision on its hold"
    assert waits_for("in transfer", "came wet") == "receipt"
    assert waits_for("in oven", "came wet") == "the end of drying"


def test_every_state_that_events_lead_to_has_its_station() -> None:
    states = {kind.to for kind in KINDS.values() if kind.to} - {"in transfer"}
    for state in states:
        place = here_now(Standing(state=state))
        assert (place is None) is (state in ENDED), state
        assert place is None or place in STATIONS
