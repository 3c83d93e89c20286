"""The chain of custody read back."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from tests.domain.makers import (
    ANALYST,
    CARRIER,
    CLERK,
    LEAD,
    LOCKER,
    MORNING,
    NAMES,
    ROSA,
    SHELF,
    TOBIAS,
    Life,
    at_desk,
    bagged,
    dried,
    make_event,
    signed_away,
)
from tracker.domain.chain import gaps, holder_at, in_words
from tracker.domain.custody import KINDS, Party, corrected
from tracker.domain.practice import Practice


def at(minute: float) -> datetime:
    return MORNING + timedelta(minutes=minute)


def held_by(life: Life, minute: float) -> str | None:
    holder = holder_at(life.events, at(minute))
    return holder.party if holder else None


def test_at_any_past_instant_one_party_has_the_sample() -> None:
    # Rule COC-20, ours: one holder from bagging on, and the question has one answer.
    life = at_desk().then("stored", CLERK, place=LOCKER.as_data())
    answers = [held_by(life, minute) for minute in (2.9, 3, 4, 5, 5.9, 6, 6.9, 7, 10_000)]
    assert answers == [None, "rosa", "rosa", "rosa", "rosa", "ines", "ines", "locker", "locker"]


def test_who_had_it_is_told_by_what_was_corrected() -> None:
    life = bagged().then("stored", place=SHELF.as_data())
    life.then("amended", LEAD, target="e4", changes={"place": LOCKER.as_data()})
    assert held_by(life, 4) == "locker"


def test_an_unbroken_chain_has_no_gap() -> None:
    assert gaps(dried().events, NAMES) == ()


def test_a_bag_nobody_signed_away_leaves_a_gap_in_plain_words() -> None:
    # Rule COC-26, ours; ISO/IEC 17025:2017, 7.4.3.
    life = bagged().then("received", CLERK, minute=323, unannounced="it lay at the door")
    [gap] = gaps(life.events, NAMES)
    assert (gap.since, gap.until) == (at(3), at(323))
    assert gap.words == (
        "For 5 h 20 min, from 15 Jun 2026, 09:03 (UTC-05:00) to 15 Jun 2026, 14:23 (UTC-05:00), it is not known "
        "who had the bag: it arrived without having been signed away by Rosa Quiroga. Reason given: it lay at the "
        "door"
    )


@pytest.mark.parametrize(("took", "count"), [(60, 0), (61, 1)])
def test_a_hand_over_longer_than_the_programme_allows_is_a_gap(took: int, count: int) -> None:
    life = bagged().then("relinquished", to=CLERK.as_data(), minute=10)
    life.then("received", CLERK, minute=10 + took)
    found = gaps(life.events, NAMES)
    assert len(found) == count
    if found:
        assert "Rosa Quiroga signed the bag away" in found[0].words
        assert "Ines Marsh signed for it, 1 h 1 min passed" in found[0].words


def test_how_long_a_hand_over_may_take_is_the_programmes_choice() -> None:
    life = signed_away().then("received", CLERK, minute=15)
    strict = Practice({"handover_silence": Decimal(5)})
    assert len(gaps(life.events, NAMES, strict)) == 1
    assert gaps(life.events, NAMES) == ()


def test_a_parcel_with_a_waybill_is_no_gap_however_long_it_takes() -> None:
    life = bagged().then("relinquished", to=CARRIER.as_data(), waybill="W-7")
    life.then("received", CLERK, minute=3 * 24 * 60)
    assert gaps(life.events, NAMES) == ()


@pytest.mark.parametrize(("place", "count"), [(SHELF, 1), (LOCKER, 0)], ids=["open", "locked"])
@pytest.mark.parametrize(("kind", "by"), [("taken out", TOBIAS), ("received", CLERK)])
def test_a_place_that_does_not_lock_is_a_gap_until_somebody_has_the_bag(
    kind: str, by: Party, place: Party, count: int
) -> None:
    # EPA Region V 1978: in hand, in view, locked up, secured or sealed; an open shelf is none of these.
    life = bagged().then("stored", place=place.as_data(), minute=10).then(kind, by, minute=100)
    found = gaps(life.events, NAMES)
    assert len(found) == count
    if found:
        assert (found[0].since, found[0].until) == (at(10), at(100))
        assert "the shelf by the door, which is not kept locked" in found[0].words


def test_what_is_archived_on_an_open_shelf_lay_there_only_since_then() -> None:
    life = dried().then("archived", ANALYST, place=SHELF.as_data(), minute=60)
    life.then("taken out", ANALYST, minute=70)
    [gap] = gaps(life.events, NAMES)
    assert gap.since == at(60)


@pytest.mark.parametrize("kind", KINDS)
def test_whatever_may_happen_can_be_said_in_a_sentence(kind: str) -> None:
    words = in_words(make_event(1, kind, CLERK), NAMES)
    assert words[0].isupper() or words[0].isdigit()
    assert words.endswith(".")
    assert ".." not in words


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        (
            "relinquished",
            {"to": CARRIER.as_data(), "waybill": "W-7"},
            "Signed away to Van Line Parcels, waybill W-7.",
        ),
        ("received", {"condition": ["damp", "torn"]}, "Received, damp, torn."),
        ("received", {"condition": []}, "Received, condition not noted."),
        (
            "received",
            {"seal_state": "broken", "discrepancy": "two bags"},
            "Received, dry; seal broken; two bags.",
        ),
        ("stored", {}, "Put in the sample locker."),
        ("fresh weighed", {"balance": "B2"}, "Sack with fresh hay weighed: 250.0 g on B2."),
        (
            "cored",
            {"cores_taken": 18, "deviations": ["two bales out of reach"]},
            "18 cores taken from the side. Differs from the plan: two bales out of reach.",
        ),
        ("received", {"hold": "bag torn"}, "Received, dry. Put on hold: bag torn."),
        (
            "oven in",
            {"position": 3, "set_celsius": "55"},
            "Into the oven, load L-1, position 3, set to 55 C.",
        ),
    ],
)
def test_what_happened_is_said_as_people_say_it(kind: str, data: dict[str, Any], words: str) -> None:
    assert in_words(make_event(1, kind, **data), NAMES) == words


def test_a_corrected_weight_is_said_with_what_it_was() -> None:
    # EPA Region V 1978: an error is struck with one line and stays readable.
    life = dried()
    life.then("amended", LEAD, target="e11", changes={"grams": "223.5"}, reason="two digits swapped")
    said = [in_words(event, NAMES) for event in corrected(life.events)]
    assert said[10] == (
        "Sack with dry hay weighed: 223.5 g on a balance not named. Corrected since: grams was 232.5."
    )
    assert said[11] == "Correction: grams is 223.5. two digits swapped."


def test_a_correction_to_the_same_value_is_not_said_to_change_anything() -> None:
    life = dried().then("amended", LEAD, target="e11", changes={"grams": "232.5"})
    assert "Corrected" not in in_words(corrected(life.events)[10], NAMES)


def test_a_corrected_receiver_is_said_by_name() -> None:
    life = bagged().then("relinquished", to=TOBIAS.as_data())
    life.then("amended", LEAD, target="e4", changes={"to": CLERK.as_data()}, reason="wrong name chosen")
    said = [in_words(event, NAMES) for event in corrected(life.events)]
    assert said[3] == "Signed away to Ines Marsh. Corrected since: to was Tobias Lund."
    assert said[4] == "Correction: to is Ines Marsh. wrong name chosen."


def test_a_late_entry_and_a_doubted_clock_are_said() -> None:
    # Rule COC-23, ours.
    words = in_words(make_event(1, "sealed", late_reason="phone was flat"), NAMES)
    assert words == "Bag closed with seal S-004417. Entered late: phone was flat."
    assert "office's time" in in_words(replace(make_event(1, "sealed"), clock_doubted=True), NAMES)


def test_somebody_whose_name_is_not_known_is_said_by_key() -> None:
    assert in_words(make_event(1, "relinquished", ROSA), {}) == "Signed away to ines."
