"""Who has the sample and where it stands, as its events add up."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from datetime import timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.domain.makers import (
    ANALYST,
    CARRIER,
    CLERK,
    LEAD,
    LEAST,
    LOCKER,
    MORNING,
    ROSA,
    TOBIAS,
    Life,
    at_desk,
    bagged,
    dried,
    make_event,
    scanned,
    signed_away,
)
from tracker.domain.custody import KINDS, Act, Event, Holder, Standing, after, corrected, fold, in_order


def states(life: Life) -> list[str]:
    found: list[str] = []
    for count in range(1, len(life.events) + 1):
        state = fold(life.events[:count]).state
        if not found or found[-1] != state:
            found.append(state)
    return found


def test_the_way_from_plan_to_archive_passes_through_every_state() -> None:
    # Vector 1 of our state machine, after ASTM D4840: custody through every stage until disposal.
    life = scanned().then("reported", LEAD).then("archived", ANALYST).then("disposed", ANALYST)
    assert states(life) == [
        "planned",
        "cored",
        "bagged",
        "sealed",
        "in transfer",
        "received",
        "weighed",
        "in oven",
        "out of oven",
        "dried",
        "coarse ground",
        "ground",
        "scanned",
        "reported",
        "archived",
        "disposed",
    ]


def test_custody_moves_when_it_is_received_and_not_when_it_is_signed_away() -> None:
    # EPA Region V 1978: the transferee signs as well; rule COC-21 is ours.
    life = signed_away()
    before = fold(life.events)
    assert (before.state, before.holder) == ("in transfer", Holder("rosa", role="technician"))
    afterwards = fold(life.then("received", CLERK).events)
    assert (afterwards.state, afterwards.holder) == ("received", Holder("ines", role="clerk"))
    assert afterwards.transfer is None


@pytest.mark.parametrize("kind", ["transfer refused", "transfer cancelled"])
def test_a_hand_over_that_comes_to_nothing_leaves_everything_as_it_was(kind: str) -> None:
    life = signed_away()
    before = fold(life.events[:-1])
    ended = fold(life.then(kind, CLERK if kind == "transfer refused" else ROSA).events)
    assert (ended.state, ended.holder, ended.transfer) == (before.state, before.holder, None)


def test_a_ground_sample_that_changes_hands_is_still_ground() -> None:
    life = dried().then("coarse ground", ANALYST).then("fine ground", ANALYST)
    life.then("relinquished", CLERK, to=LEAD.as_data()).then("received", LEAD)
    assert fold(life.events).state == "ground"


def test_a_report_issued_while_the_sample_is_signed_away_leaves_it_signed_away() -> None:
    # Our rule COC-21: what is in transfer stays so until it is received, refused, cancelled or lost.
    life = scanned().then("relinquished", CLERK, to=CARRIER.as_data()).then("reported", LEAD)
    standing = fold(life.events)
    assert standing.state == "in transfer"
    assert standing.transfer is not None
    assert fold(life.then("transfer cancelled", CLERK).events).state == "reported"


def test_a_sample_lost_on_the_road_is_lost() -> None:
    assert fold(signed_away().then("lost").events).state == "lost"


def test_a_locked_place_can_hold_a_sample_by_itself() -> None:
    # EPA Region V 1978: locked up or in a designated secure area is custody.
    holder = fold(bagged().then("stored", place=LOCKER.as_data()).events).holder
    assert holder == Holder("locker", "place", "", secure=True)


def test_whoever_takes_it_out_has_it() -> None:
    life = bagged().then("stored", place=LOCKER.as_data()).then("taken out", TOBIAS)
    assert fold(life.events).holder == Holder("tobias", role="technician")


def test_a_replaced_tag_is_the_bags_code_from_then_on() -> None:
    life = bagged()
    assert fold(life.events).code == "7K2M9QXQ"
    assert fold(life.then("tag replaced", code="T0MARVYY").events).code == "T0MARVYY"


def test_a_broken_seal_is_no_longer_on_the_bag() -> None:
    life = at_desk()
    assert fold(life.events).seal == "S-004417"
    assert fold(life.then("seal broken", CLERK).events).seal is None


def test_a_difference_on_receipt_is_recorded_and_puts_the_sample_on_hold() -> None:
    # Our rule COC-25; ISO/IEC 17025:2017, 7.4.3: doubt is recorded.
    standing = fold(signed_away().then("received", CLERK, hold="The bag came torn.").events)
    assert (standing.state, standing.on_hold) == ("received", True)
    assert [hold.reason for hold in standing.holds] == ["The bag came torn."]


@pytest.mark.parametrize("kind", ["relinquished", "transfer cancelled", "stored", "dry weighed"])
def test_a_hold_counts_with_whatever_it_came(kind: str) -> None:
    life = {"transfer cancelled": signed_away, "dry weighed": dried}.get(kind, bagged)()
    assert fold(life.then(kind, hold="The bag is wet.").events).on_hold


def test_lifting_ends_every_hold() -> None:
    life = at_desk().then("held", LEAD).then("held", LEAD, reason="twine in it")
    assert len(fold(life.events).holds) == 2
    assert not fold(life.then("hold lifted", LEAD).events).on_hold


def test_a_correction_counts_and_the_first_entry_stays_readable() -> None:
    # Our rule COC-24, after EPA Region V 1978: one line through the error, dated and initialled, nothing erased.
    life = dried()
    life.then("amended", LEAD, target="e11", changes={"grams": "223.5"}, reason="two digits swapped")
    weighing = corrected(life.events)[10]
    assert weighing.data["grams"] == "223.5"
    assert [original.data["grams"] for original in weighing.amended] == ["232.5"]
    assert life.events[10].data["grams"] == "232.5"


def test_of_two_corrections_the_later_recorded_counts_and_both_older_values_stay() -> None:
    life = dried()
    life.then("amended", LEAD, target="e11", changes={"grams": "223.5"}, minute=40)
    # Recorded after the other although its device puts it before.
    life.then("amended", LEAD, target="e11", changes={"grams": "222.5"}, minute=30)
    weighing = corrected(life.events)[10]
    assert weighing.data["grams"] == "222.5"
    assert [original.data["grams"] for original in weighing.amended] == ["232.5", "223.5"]


def test_a_corrected_code_is_the_code_the_sample_has() -> None:
    life = bagged().then("amended", LEAD, target="e3", changes={"code": "T0MARVYY"})
    assert fold(life.events).code == "T0MARVYY"


def test_an_event_cannot_be_changed() -> None:
    event = make_event(1, "plan issued")
    with pytest.raises(FrozenInstanceError):
        event.kind = "lost"  # type: ignore[misc]


def test_events_of_one_instant_keep_the_order_they_were_recorded_in() -> None:
    first, second = make_event(2, "sealed", minute=5), make_event(3, "relinquished", minute=5)
    assert in_order([second, first]) == [first, second]


def test_the_offset_of_a_device_does_not_change_the_order() -> None:
    first, second = make_event(1, "sealed"), make_event(2, "relinquished")
    # 09:01 at -05:00 is 23:01 at +09:00: the later figure is the earlier moment.
    abroad = replace(first, occurred_at=first.occurred_at.astimezone(timezone(timedelta(hours=9))))
    assert in_order([second, abroad]) == [abroad, second]


@pytest.mark.parametrize(("ahead", "doubted"), [(5, False), (6, True), (-600, False)])
def test_a_device_more_than_five_minutes_ahead_is_not_believed(ahead: int, doubted: bool) -> None:
    # Our rule COC-23: no later than the office's time and 5 minutes.
    act = Act(ROSA, at=MORNING + timedelta(minutes=ahead), now=MORNING)
    assert act.clock_doubted is doubted
    # What the office has heard of has happened, by however little the device is ahead.
    assert act.occurred_at == min(act.at, MORNING)


@pytest.mark.parametrize(("hours", "late"), [(24, False), (25, True)])
def test_what_the_office_hears_more_than_a_day_later_is_late(hours: int, late: bool) -> None:
    # Our rules COC-23 and COC-27: a phone without signal sends the time it happened, and the office adds its own.
    assert make_event(1, "bagged", heard=timedelta(hours=hours)).late is late


def test_what_came_out_of_order_is_late_however_soon_it_was_heard() -> None:
    assert make_event(1, "bagged", late_reason="phone was flat").late


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_finds_a_standing_with_the_least_it_needs(kind: str) -> None:
    assert set(KINDS[kind].needs) <= set(LEAST[kind])
    standing = after(Standing(), make_event(1, kind))
    assert standing.last_at == MORNING + timedelta(minutes=1)


@given(st.permutations(scanned().events))
def test_the_order_events_are_read_in_does_not_matter(events: list[Event]) -> None:
    assert fold(events) == fold(scanned().events)
