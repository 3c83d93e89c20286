"""What may happen to a sample next, and who may do it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal as D

import pytest

from tests.domain.makers import (
    ANALYST,
    CARRIER,
    CLERK,
    EVERYONE,
    LEAD,
    LOCKER,
    ROSA,
    SHELF,
    STRANGER,
    TOBIAS,
    Life,
    at_desk,
    bagged,
    dried,
    make_event,
    scanned,
    signed_away,
)
from tracker.domain.admission import admit, check, next_acts
from tracker.domain.custody import ENDED, KINDS, Event, Party, Standing, fold
from tracker.domain.dry_matter import dm_findings
from tracker.domain.findings import HOLD
from tracker.domain.intake import Receipt, Weighing, judge_receipt
from tracker.errors import Refused


def refusal(events: Sequence[Event], new: Event) -> Refused:
    with pytest.raises(Refused) as caught:
        admit(events, new)
    return caught.value


def test_every_step_of_the_happy_way_is_admitted() -> None:
    # Vector 1 of our state machine, after ASTM D4840.
    life = scanned().then("reported", LEAD).then("archived", ANALYST).then("disposed", ANALYST)
    for count, event in enumerate(life.events):
        assert admit(life.events[:count], event) == fold(life.events[: count + 1])


def test_nothing_is_received_that_nobody_signed_away() -> None:
    # Vector 2, after EPA Region V 1978: both sides sign.
    life = bagged()
    refused = refusal(life.events, life.next("received", CLERK))
    assert refused.code == "no-open-transfer"
    assert "rosa" in refused.message


def test_one_signing_away_is_received_once() -> None:
    # Vector 3 of our state machine.
    life = at_desk()
    assert refusal(life.events, life.next("received", ANALYST)).code == "no-open-transfer"


@pytest.mark.parametrize("life", [at_desk(), dried()], ids=["received", "dried"])
def test_nothing_is_scanned_before_it_is_ground(life: Life) -> None:
    # Vector 4 of our state machine.
    refused = refusal(life.events, life.next("scanned", ANALYST))
    assert refused.code == "wrong-state"
    assert "ground" in refused.message


def test_the_fine_grind_comes_after_the_coarse_one() -> None:
    life = dried()
    assert refusal(life.events, life.next("fine ground", ANALYST)).code == "wrong-state"


def test_a_dry_weight_above_the_fresh_one_is_recorded_and_stops_the_grinding() -> None:
    # Vector 5 and rule COC-25, ours: 201.0 g cannot come out of 200.0 g; both are kept and the sample waits.
    sack = Weighing("tare", D("14.2"))
    found = dm_findings(sack, Weighing("fresh", D("214.2")), Weighing("dry", D("215.2")))
    assert [(finding.code, finding.level) for finding in found] == [("dry-above-fresh", HOLD)]
    life = dried()
    life.events[-1] = replace(life.events[-1], data={"grams": "215.2", "hold": found[0].words})
    admit(life.events[:-1], life.events[-1])
    assert refusal(life.events, life.next("coarse ground", ANALYST)).code == "on-hold"


@pytest.mark.parametrize("by", [TOBIAS, CLERK, ANALYST, LEAD, STRANGER], ids=lambda party: party.key)
def test_only_the_holder_signs_a_bag_away(by: Party) -> None:
    # Vector 6 and rule COC-22, after EPA Region V 1978.
    life = bagged()
    refused = refusal(life.events, life.next("relinquished", by))
    assert refused.code == "not-the-holder"
    assert "rosa" in refused.message


def test_a_seal_read_with_two_digits_swapped_stops_the_weighing() -> None:
    # Vector 7, ours: S-004417 sealed, S-004471 read.
    receipt = Receipt(("dry",), seal_state="intact", seal_expected="S-004417", seal_read="S-004471")
    [finding] = judge_receipt(receipt)
    assert finding.level == HOLD
    life = signed_away().then("received", CLERK, hold=finding.words)
    assert fold(life.events).state == "received"
    refused = refusal(life.events, life.next("fresh weighed", ANALYST))
    assert refused.code == "on-hold"
    assert "S-004471" in refused.message


def test_what_happened_before_what_is_recorded_needs_a_reason() -> None:
    # Vector 8 and rule COC-23, ours: 09:10 comes in after 09:30.
    events = [make_event(1, "plan issued", minute=0), make_event(2, "cored", minute=30)]
    early = make_event(3, "held", LEAD, minute=10)
    refused = refusal(events, early)
    assert refused.code == "out-of-order"
    assert "09:30" in refused.message
    standing = admit(events, replace(early, late_reason="was without signal"))
    assert standing.state == "cored"
    assert standing.on_hold


def test_a_late_entry_that_makes_the_rest_impossible_is_refused() -> None:
    life = bagged()
    late = make_event(4, "cancelled", minute=1, late_reason="found in the notebook")
    refused = refusal(life.events, late)
    assert refused.code == "late-entry-breaks-chain"
    assert "'cored'" in refused.message


def test_a_late_entry_is_judged_by_what_was_corrected_since() -> None:
    # Rosa chose the wrong name; the correction came after the receipt.
    life = bagged().then("relinquished", to=TOBIAS.as_data(), minute=10)
    life.then("amended", LEAD, target="e4", changes={"to": CLERK.as_data()}, minute=12)
    late = life.next("received", CLERK, minute=11, late_reason="tablet was off")
    assert admit(life.events, late).state == "received"


def test_a_correction_is_in_the_standing_at_once() -> None:
    life = bagged()
    standing = admit(life.events, life.next("amended", LEAD, target="e3", changes={"code": "T0MARVYY"}))
    assert standing.code == "T0MARVYY"


def test_two_things_at_one_instant_need_no_reason() -> None:
    life = bagged()
    assert admit(life.events, life.next("sealed", minute=3)).state == "sealed"


@pytest.mark.parametrize("kind", KINDS)
def test_a_sample_on_its_way_only_arrives_or_does_not(kind: str) -> None:
    # Rule COC-21, ours. What is entered at a desk about it, and touches no bag, is let through.
    life = signed_away()
    by_either = []
    for by in (ROSA, CLERK):
        try:
            admit(life.events, life.next(kind, by))
        except Refused:
            continue
        by_either.append(by)
    arrives = {"received", "transfer refused", "transfer cancelled", "lost"}
    at_a_desk = {"amended", "held", "analysed outside", "reported", "undone", "noted", "tag settled"}
    assert bool(by_either) is (kind in arrives | at_a_desk)


@pytest.mark.parametrize("kind", ["received", "transfer refused"])
def test_who_signed_away_cannot_sign_for_it(kind: str) -> None:
    life = signed_away()
    assert refusal(life.events, life.next(kind, ROSA)).code == "not-the-receiver"


def test_a_colleague_who_signs_away_for_the_holder_cannot_sign_for_it_either() -> None:
    # Two sides, after EPA Region V 1978: one person is never both.
    life = at_desk().then("relinquished", ANALYST, to=ANALYST.as_data())
    assert refusal(life.events, life.next("received", ANALYST)).code == "not-the-receiver"


@pytest.mark.parametrize("by", [TOBIAS, STRANGER], ids=lambda party: party.key)
def test_a_bag_for_the_desk_is_not_for_anybody_else(by: Party) -> None:
    life = signed_away()
    assert refusal(life.events, life.next("received", by)).code == "not-the-receiver"


@pytest.mark.parametrize("to", [CLERK, CARRIER, LOCKER], ids=lambda party: party.key)
def test_a_colleague_at_the_desk_receives_for_the_one_named(to: Party) -> None:
    life = bagged().then("relinquished", to=to.as_data())
    holder = admit(life.events, life.next("received", ANALYST)).holder
    assert holder is not None
    assert holder.party == "amos"


def test_nobody_at_the_desk_receives_what_goes_from_one_technician_to_another() -> None:
    life = bagged().then("relinquished", to=TOBIAS.as_data())
    assert refusal(life.events, life.next("received", CLERK)).code == "not-the-receiver"
    assert admit(life.events, life.next("received", TOBIAS)).holder is not None


def test_a_bag_that_comes_without_being_signed_away_is_received_with_the_reason() -> None:
    life = bagged()
    arrived = life.next("received", CLERK, unannounced="left at the door", hold="nobody signed it away")
    standing = admit(life.events, arrived)
    assert (standing.state, standing.on_hold) == ("received", True)


def test_a_bag_put_in_a_place_is_received_from_there() -> None:
    life = bagged().then("stored", place=LOCKER.as_data())
    assert admit(life.events, life.next("received", CLERK)).state == "received"


def test_a_colleague_may_work_on_what_the_laboratory_has() -> None:
    # Rule COC-22, ours: a role that is allowed, and the event says who it was.
    life = at_desk()
    assert admit(life.events, life.next("tare weighed", ANALYST)).holder == fold(life.events).holder
    assert refusal(life.events, life.next("tare weighed", ROSA)).code == "not-the-holder"


def test_what_lies_on_an_open_shelf_is_taken_out_before_anybody_works_on_it() -> None:
    life = at_desk().then("stored", CLERK, place=SHELF.as_data())
    assert refusal(life.events, life.next("tare weighed", ANALYST)).code == "not-the-holder"
    life.then("taken out", ANALYST)
    admit(life.events, life.next("tare weighed", ANALYST))


def test_nothing_is_taken_out_of_a_persons_hands() -> None:
    life = bagged()
    assert refusal(life.events, life.next("taken out", TOBIAS)).code == "not-stored"


def test_a_sack_in_the_oven_is_not_signed_away() -> None:
    life = dried()
    in_oven = life.events[:9]
    assert fold(in_oven).state == "in oven"
    assert refusal(in_oven, make_event(10, "relinquished", CLERK)).code == "wrong-state"


@pytest.mark.parametrize("kind", [name for name, kind in KINDS.items() if kind.testing])
def test_no_test_is_made_while_the_sample_is_on_hold(kind: str) -> None:
    # Rule COC-25, ours: a difference never blocks recording, it blocks testing.
    state = next(state for state in KINDS[kind].frm if state != "in transfer")
    standing = replace(Standing(), state=state)
    check(standing, make_event(1, kind, ANALYST))
    held = fold([make_event(1, "held", LEAD)])
    with pytest.raises(Refused) as caught:
        check(replace(held, state=state), make_event(2, kind, ANALYST))
    assert caught.value.code == "on-hold"


def test_a_sample_on_hold_still_changes_hands() -> None:
    life = at_desk().then("held", LEAD)
    assert admit(life.events, life.next("relinquished", CLERK, to=LEAD.as_data())).on_hold


def test_a_sack_on_hold_still_comes_out_of_the_oven() -> None:
    in_oven = [*dried().events[:9], make_event(10, "held", LEAD)]
    assert admit(in_oven, make_event(11, "oven out", ANALYST)).state == "out of oven"


def test_a_hold_that_is_not_there_is_not_lifted() -> None:
    life = at_desk()
    assert refusal(life.events, life.next("hold lifted", LEAD)).code == "not-on-hold"


def ended(kind: str) -> Life:
    if kind == "cancelled":
        return Life().then("plan issued", LEAD).then("cancelled", LEAD)
    life = scanned().then("reported", LEAD).then("archived", ANALYST)
    if kind == "returned":
        life.then("taken out", ANALYST)
    return life.then(kind, ANALYST)


@pytest.mark.parametrize("end", ["cancelled", "disposed", "returned", "lost"])
def test_after_the_end_only_amendments_and_notes_are_taken(end: str) -> None:
    life = ended(end)
    assert fold(life.events).state in ENDED
    admitted = set()
    for kind in KINDS:
        for by in EVERYONE:
            try:
                admit(life.events, life.next(kind, by))
            except Refused as refused:
                assert refused.code == "sample-ended"
            else:
                admitted.add(kind)
    assert admitted == {"amended", "noted"}


def test_a_kind_nobody_knows_is_refused_with_those_that_are_known() -> None:
    refused = refusal([], make_event(1, "halved"))
    assert refused.code == "unknown-event"
    assert "cored" in refused.remedy


@pytest.mark.parametrize(
    ("kind", "field"), [(name, need) for name, kind in KINDS.items() for need in kind.needs]
)
@pytest.mark.parametrize("nothing", [None, ""])
def test_an_entry_without_what_it_needs_is_refused_by_name(
    kind: str, field: str, nothing: str | None
) -> None:
    whole = make_event(1, kind)
    refused = refusal([], replace(whole, data={**whole.data, field: nothing}))
    assert (refused.code, refused.field) == ("entry-incomplete", field)


def test_what_was_sent_from_the_field_a_day_later_is_admitted_and_marked() -> None:
    # Rules COC-23 and COC-27, ours.
    life = bagged()
    late = life.next("sealed", heard=timedelta(hours=30))
    assert late.late
    assert admit(life.events, late).state == "sealed"


LIVES = {
    "nothing": Life(),
    "planned": Life().then("plan issued", LEAD),
    "bagged": bagged(),
    "signed away": signed_away(),
    "stored": bagged().then("stored", place=LOCKER.as_data()),
    "received": at_desk(),
    "held": at_desk().then("held", LEAD),
    "dried": dried(),
    "scanned": scanned(),
    "disposed": ended("disposed"),
}


@pytest.mark.parametrize("name", LIVES)
def test_what_is_said_to_come_next_can_be_done_by_somebody_and_nothing_else_can(name: str) -> None:
    life = LIVES[name]
    possible = set()
    for kind in KINDS:
        for by in EVERYONE:
            try:
                admit(life.events, life.next(kind, by))
            except Refused:
                continue
            possible.add(kind)
    # What may be entered at any time, and what takes back the last entry, is no next step.
    always = {"amended", "held", "lost", "undone", "noted", "tag settled"}
    assert possible - always == set(next_acts(fold(life.events))) - always


def test_a_hold_heard_of_late_does_not_undo_what_was_done_before_it_was_known() -> None:
    """Our rule: a late entry must leave a chain that holds, and nobody can heed what nobody has heard."""
    life = dried()
    life = life.then("coarse ground", ANALYST, minute=900)
    late = life.next(
        "held", CLERK, minute=5, late_reason="The form lay in the van.", reason="The bag was torn."
    )
    assert admit(life.events, late).on_hold


def test_a_decision_lifts_only_the_holds_that_were_known_when_it_was_made() -> None:
    life = dried().then("held", CLERK, minute=900, reason="Torn.")
    life = life.then("hold lifted", LEAD, minute=910, reason="Mended.")
    late = life.next("held", CLERK, minute=905, late_reason="Paper form.", reason="Wet.")
    assert [hold.reason for hold in admit(life.events, late).holds] == ["Wet."]
