"""Handing a sample over, and putting it in a place that holds it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    at,
    done,
    kinds,
    life,
    made,
    make_bag,
    make_cored,
    make_in_oven,
    make_received,
    make_sealed,
    make_signed_away,
    refused,
    standing,
)
from tracker.domain.chain import gaps, holder_at
from tracker.steps.bag_cores import seal_bag
from tracker.steps.hand_over import cancel_transfer, refuse_transfer, relinquish, store, take_out
from tracker.steps.receive import receive
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.people import party


def signed(session: Session, sample: Sample, to: str, who: str = "tove", waybill: str = "") -> None:
    relinquish(session, sample, party(session, to), act(session, who, 200), waybill=waybill)


def put(session: Session, sample: Sample, place: str, who: str = "tove", minute: float = 100) -> None:
    store(session, sample, party(session, place), act(session, who, minute))


def holder(season: Database, sample: Sample) -> str | None:
    found = standing(season, sample).holder
    return found.party if found else None


def test_a_bag_signed_away_stays_with_the_giver_until_somebody_signs(season: Database) -> None:
    sample = made(season, make_signed_away)
    found = standing(season, sample)
    assert (found.state, holder(season, sample)) == ("in transfer", "tove")
    assert found.transfer is not None and found.transfer.to.party == "carl"


@pytest.mark.parametrize(
    ("to", "who", "code"),
    [
        ("carl", "ulf", "not-the-holder"),
        ("tove", "tove", "handed-to-oneself"),
        ("van", "tove", "waybill-missing"),
        ("nobody", "tove", "unknown-party"),
    ],
)
def test_a_hand_over_spoiled_in_one_field_is_refused(season: Database, to: str, who: str, code: str) -> None:
    sample = made(season, make_sealed)
    assert refused(season, lambda s: signed(s, sample, to, who), by=who, to=to).code == code


def test_a_bag_is_signed_away_once(season: Database) -> None:
    sample = made(season, make_signed_away)
    assert refused(season, lambda s: signed(s, sample, "lena")).code == "wrong-state"


def test_nothing_is_signed_away_before_there_is_a_bag_or_while_it_is_in_the_oven(season: Database) -> None:
    loose, hot = made(season, make_cored), made(season, make_in_oven, field="Hill")
    assert refused(season, lambda s: signed(s, loose, "carl")).code == "wrong-state"
    step = lambda s: relinquish(s, hot, party(s, "lena"), act(s, "carl", 300))  # noqa: E731
    assert refused(season, step).code == "wrong-state"


def test_a_carrier_takes_it_under_a_waybill_and_the_desk_signs_for_it_days_later(season: Database) -> None:
    sample = made(season, make_signed_away, to="van")
    two_days = 200 + 2 * 24 * 60
    done(
        season, lambda s: receive(s, sample, act(s, "carl", two_days), condition=["dry"], seal_state="intact")
    )
    assert holder(season, sample) == "carl"
    events = life(season, sample)
    assert [event.data["waybill"] for event in events if event.kind == "relinquished"] == ["W-12"]
    assert gaps(events, {}) == ()


def test_only_the_one_named_may_decline_and_the_bag_is_with_the_giver_as_before(season: Database) -> None:
    sample = made(season, make_signed_away)
    step = lambda s: refuse_transfer(s, sample, act(s, "ulf", 210), reason="not mine")  # noqa: E731
    assert refused(season, step, by="ulf").code == "not-the-receiver"
    done(season, lambda s: refuse_transfer(s, sample, act(s, "carl", 210), reason="desk is closed"))
    found = standing(season, sample)
    assert (found.state, found.transfer, holder(season, sample)) == ("sealed", None, "tove")


def test_only_the_giver_may_call_it_off(season: Database) -> None:
    sample = made(season, make_signed_away)
    step = lambda s: cancel_transfer(s, sample, act(s, "ulf", 210), reason="x")  # noqa: E731
    assert refused(season, step, by="ulf").code == "not-the-holder"
    done(season, lambda s: cancel_transfer(s, sample, act(s, "tove", 210), reason="nobody was there"))
    assert standing(season, sample).state == "sealed"


@pytest.mark.parametrize("step", [refuse_transfer, cancel_transfer])
def test_an_end_of_a_hand_over_wants_a_reason(season: Database, step: Callable[..., object]) -> None:
    sample = made(season, make_signed_away)
    who = "carl" if step is refuse_transfer else "tove"
    answer = refused(season, lambda s: step(s, sample, act(s, who, 210), reason=" "), by=who)
    assert (answer.code, answer.field) == ("entry-incomplete", "reason")


def test_a_locked_box_holds_the_bag_and_leaves_no_gap(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: put(s, sample, "box"))
    assert holder(season, sample) == "box"
    done(season, lambda s: receive(s, sample, act(s, "carl", 900), condition=["dry"]))
    assert (holder(season, sample), standing(season, sample).holds) == ("carl", ())
    assert gaps(life(season, sample), {}) == ()


def test_an_open_shelf_holds_the_bag_and_leaves_a_gap(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: put(s, sample, "shelf"))
    done(season, lambda s: receive(s, sample, act(s, "carl", 900), condition=["dry"]))
    (gap,) = gaps(life(season, sample), {"shelf": "Shelf by the door"})
    assert (gap.since, gap.until) == (at(100), at(900))
    assert "Shelf by the door" in gap.words and "13 h 20 min" in gap.words


@pytest.mark.parametrize(
    ("place", "who", "code"),
    [
        ("carl", "tove", "not-a-place-to-store"),
        ("van", "tove", "not-a-place-to-store"),
        ("box", "ulf", "not-the-holder"),
    ],
)
def test_only_the_holder_puts_it_away_and_only_in_a_place(
    season: Database, place: str, who: str, code: str
) -> None:
    sample = made(season, make_bag)
    assert refused(season, lambda s: put(s, sample, place, who), by=who).code == code


def test_what_is_taken_out_is_with_the_taker(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: put(s, sample, "store", "carl", 245))
    done(season, lambda s: take_out(s, sample, act(s, "ana", 246)))
    assert holder(season, sample) == "ana"
    assert kinds(season, sample)[-2:] == ["stored", "taken out"]


def test_what_a_person_has_cannot_be_taken_out(season: Database) -> None:
    sample = made(season, make_bag)
    assert refused(season, lambda s: take_out(s, sample, act(s, "ulf", 70)), by="ulf").code == "not-stored"


def test_there_was_one_holder_at_every_moment(season: Database) -> None:
    events = life(season, made(season, make_received))
    found = [holder_at(events, at(minute)) for minute in (64, 65, 220, 240)]
    assert [one.party if one else None for one in found] == [None, "tove", "tove", "carl"]


def test_an_entry_that_belongs_before_others_needs_a_reason(season: Database) -> None:
    sample = made(season, make_received)

    def earlier(session: Session, reason: str) -> None:
        before = act(session, "tove", 150, heard=300, late_reason=reason)
        store(session, sample, party(session, "box"), before)

    assert refused(season, lambda s: earlier(s, "")).code == "out-of-order"
    # Once it was in the box, Tove could not have signed it away.
    assert refused(season, lambda s: earlier(s, "I forgot")).code == "late-entry-breaks-chain"


def test_a_late_entry_that_fits_is_taken_in_its_place_and_marked(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: signed(s, sample, "carl"))

    def earlier(session: Session) -> None:
        seal = act(session, "tove", 70, heard=300, late_reason="no signal at the stack")
        seal_bag(session, sample, "S-1", seal)

    done(season, earlier)
    late = life(season, sample)[-1]
    assert (late.kind, late.late, late.late_reason) == ("sealed", True, "no signal at the stack")
    assert (standing(season, sample).state, standing(season, sample).seal) == ("in transfer", "S-1")


def test_a_doubled_tap_is_one_hand_over(season: Database) -> None:
    sample = made(season, make_bag)

    def tapped(session: Session) -> None:
        store(session, sample, party(session, "box"), act(session, "tove", 100, event_id="tap-1"))

    done(season, tapped)
    # Which refusal it is depends on what the act is; that nothing is written twice does not.
    refused(season, tapped)
    assert kinds(season, sample)[-2:] == ["bagged", "stored"]
