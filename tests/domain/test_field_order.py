"""An entry that was made in the field and comes late, or by a clock that is off: it finds its place in the chain."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.domain.makers import CLERK, LOCKER, MORNING, ROSA, at_desk, bagged
from tracker.domain.admission import admit, admit_from_field
from tracker.domain.custody import fold
from tracker.errors import Refused


def test_an_entry_from_the_field_keeps_its_time_where_that_can_be() -> None:
    life = at_desk()
    new = life.next("stored", ROSA, minute=4, place=LOCKER.as_data())
    event, _, _ = admit_from_field(bagged().events, new, timedelta(minutes=15))
    assert (event.occurred_at, event.late_reason) == (new.occurred_at, "")


def test_an_entry_from_the_field_that_comes_late_needs_no_reason_of_its_own() -> None:
    life = bagged().then("relinquished", minute=9, to=CLERK.as_data()).then("received", CLERK, minute=10)
    new = life.next("sealed", minute=5)
    with pytest.raises(Refused) as caught:
        admit(life.events, new)
    assert caught.value.code == "out-of-order"
    event, standing, _ = admit_from_field(life.events, new, timedelta(0))
    assert event.late_reason and standing.state == "received"


def test_an_entry_from_the_field_is_moved_to_the_nearest_time_that_fits_and_no_further_than_may_be() -> None:
    # By her phone she signed it away a minute after the clerk had signed for it.
    life = bagged().then("received", CLERK, minute=20, unannounced="it lay on the desk")
    new = life.next("relinquished", minute=21, to=CLERK.as_data())
    event, standing, _ = admit_from_field(life.events, new, timedelta(minutes=30))
    assert event.occurred_at == MORNING + timedelta(minutes=3)
    assert (standing.state, standing.holder and standing.holder.party) == ("received", CLERK.key)
    with pytest.raises(Refused) as caught:
        admit_from_field(life.events, new, timedelta(minutes=15))
    assert caught.value.code == "not-the-holder"


def test_no_moment_fits_what_can_never_be_true() -> None:
    life = at_desk()
    for kind, code in (("received", "not-the-receiver"), ("bagged", "wrong-state")):
        with pytest.raises(Refused) as caught:
            admit_from_field(bagged().then("relinquished", to=CLERK.as_data()).events, life.next(kind), None)
        assert caught.value.code == code


@given(minute=st.integers(0, 12), kind=st.sampled_from(["sealed", "relinquished", "stored", "noted"]))
def test_whatever_is_moved_leaves_a_chain_that_holds(minute: int, kind: str) -> None:
    life = at_desk()
    new = life.next(kind, minute=minute, heard=timedelta(hours=1))
    try:
        event, standing, _ = admit_from_field(life.events, new, None)
    except Refused:
        return
    assert fold([*life.events, event]) == standing
    assert event.occurred_at <= max(new.occurred_at, life.events[-1].occurred_at)


def test_what_only_contradicts_what_came_after_it_is_taken_and_the_doubt_is_said() -> None:
    # She put the bag in the locker at five; on record is that she handed it over at nine without taking it out.
    life = bagged().then("relinquished", minute=9, to=CLERK.as_data()).then("received", CLERK, minute=10)
    new = life.next("stored", minute=5, place=LOCKER.as_data())
    with pytest.raises(Refused) as caught:
        admit(life.events, replace(new, late_reason="phone was flat"))
    assert caught.value.code == "late-entry-breaks-chain"
    event, standing, doubt = admit_from_field(life.events, new, timedelta(0))
    assert event.occurred_at == new.occurred_at
    assert "'relinquished'" in doubt and standing.state == "received"


def test_a_doubt_that_is_on_record_is_held_against_no_later_entry() -> None:
    life = bagged().then("relinquished", minute=9, to=CLERK.as_data()).then("received", CLERK, minute=10)
    event, _, _ = admit_from_field(life.events, life.next("stored", minute=5, place=LOCKER.as_data()), None)
    events = [*life.events, event]
    seal = replace(life.next("noted", minute=4, words="gate open"), event_id="e99", seq=99, late_reason="x")
    assert admit(events, seal).state == "received"
