"""Entries that come late, out of order, or from a phone whose clock is wrong: accepted, and told in both orders."""

from __future__ import annotations

import pytest

from tests.makers import (
    act,
    at,
    done,
    kinds,
    life,
    made,
    make_bag,
    make_sealed,
    make_tag,
    make_weighed,
    refused,
    standing,
)
from tests.phones import Phone, words
from tracker.lookups.sample_way import way_of
from tracker.steps.hand_over import relinquish
from tracker.steps.receive import receive
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.people import party


def code_of(season: Database, sample: Sample) -> str:
    return str(standing(season, sample).code)


def way(season: Database, sample: Sample):  # type: ignore[no-untyped-def]
    with season.read() as session:
        return way_of(session, sample_with_lot(session, sample.id))


@pytest.mark.parametrize("knows", [True, False])
def test_a_phone_three_days_slow_does_not_reorder_the_labs_steps(season: Database, knows: bool) -> None:
    sample = made(season, make_bag)
    phone = Phone(slow=3 * 24 * 60, knows=knows)
    over = phone.entry("hand over", 100, {"codes": [code_of(season, sample)], "to": "carl"})
    assert words(phone.send(season, 110, over)) == ["accepted"]
    done(season, lambda s: receive(s, sample, act(s, "carl", 120), condition=["dry"]))
    found = way(season, sample)
    assert [step.kind for step in found.steps][-2:] == ["relinquished", "received"]
    assert found.steps[-2].at == at(100)
    assert "The phone's clock is 3 days slow; the time here is put right." in found.steps[-2].words


def test_a_late_entry_from_the_field_goes_before_what_the_lab_did_and_both_orders_are_told(
    season: Database,
) -> None:
    sample = made(season, make_sealed)
    code = code_of(season, sample)
    phone = Phone()
    note = phone.entry("store", 100, {"codes": [code], "place": "box"})
    done(
        season,
        lambda s: receive(
            s, sample, act(s, "carl", 200), condition=["dry"], seal_state="intact", unannounced="lay here"
        ),
    )
    assert words(phone.send(season, 300, note)) == ["accepted"]
    found = way(season, sample)
    assert [step.kind for step in found.steps][-2:] == ["stored", "received"]
    numbers = [step.number for step in found.steps]
    assert found.heard == tuple(sorted(numbers)) != tuple(numbers)
    assert found.as_dict()["heard"] == list(found.heard)
    assert "Entered late" in found.steps[-2].words


def test_in_order_there_is_one_order_to_tell(season: Database) -> None:
    assert way(season, made(season, make_weighed)).heard == ()


def test_a_givers_phone_a_few_minutes_ahead_keeps_nobody_from_signing_at_the_true_time(
    season: Database,
) -> None:
    sample = made(season, make_bag)
    done(
        season,
        lambda s: relinquish(s, sample, party(s, "carl"), act(s, "tove", 104, heard=100)),
    )
    assert life(season, sample)[-1].occurred_at == at(100)
    done(season, lambda s: receive(s, sample, act(s, "carl", 101), condition=["dry"]))
    assert kinds(season, sample)[-2:] == ["relinquished", "received"]


def test_an_entry_a_little_off_its_true_place_is_moved_to_where_it_can_have_happened(
    season: Database,
) -> None:
    # Tove put the bag on the shelf and took it out again; her phone's comparison was three minutes off.
    sample = made(season, make_bag)
    code = code_of(season, sample)
    phone, other = Phone(), Phone("ulf")
    assert words(phone.send(season, 120, phone.entry("store", 100, {"codes": [code], "place": "box"}))) == [
        "accepted"
    ]
    took = other.entry("take out", 97, {"codes": [code]})
    assert words(other.send(season, 130, took)) == ["accepted"]
    event = life(season, sample)[-1]
    assert event.occurred_at == at(100)
    assert event.data["origin"]["moved_from"] == at(97).isoformat()
    step = way(season, sample).steps[-1]
    assert (step.kind, "it stands at the nearest that fits" in step.words) == ("taken out", True)


def test_a_phone_with_a_good_clock_is_not_moved_by_hours(season: Database) -> None:
    sample = made(season, make_bag)
    code = code_of(season, sample)
    phone, other = Phone(), Phone("ulf")
    phone.send(season, 400, phone.entry("store", 300, {"codes": [code], "place": "box"}))
    took = other.entry("take out", 100, {"codes": [code]})
    assert words(other.send(season, 410, took)) == ["refused not-stored"]


def test_a_phone_whose_clock_nobody_knows_is_moved_as_far_as_it_takes(season: Database) -> None:
    sample = made(season, make_bag)
    code = code_of(season, sample)
    phone, other = Phone(), Phone("ulf")
    phone.send(season, 400, phone.entry("store", 300, {"codes": [code], "place": "box"}))
    took = other.entry("take out", 100, {"codes": [code]}, clock_jumped=True)
    assert words(other.send(season, 410, took)) == ["accepted"]
    assert life(season, sample)[-1].occurred_at == at(300)


def test_a_bag_that_passed_through_two_hands_before_the_desk_took_it_unannounced(season: Database) -> None:
    # Tove gave it to Ulf, and Ulf to the desk, where neither phone had been heard of yet.
    sample = made(season, make_bag)
    code = code_of(season, sample)
    done(
        season, lambda s: receive(s, sample, act(s, "carl", 200), condition=["dry"], unannounced="Ulf had it")
    )
    tove, ulf = Phone(), Phone("ulf")
    over = tove.entry("hand over", 100, {"codes": [code], "to": "ulf"})
    took = ulf.entry("receive", 101, {"codes": [code], "from": "tove", "condition": ["dry"]})
    gave = ulf.entry("hand over", 195, {"codes": [code], "to": "carl"})
    assert words(tove.send(season, 300, over)) == ["accepted"]
    assert words(ulf.send(season, 310, took, gave)) == ["accepted", "accepted"]
    found = way(season, sample)
    assert [step.kind for step in found.steps][-4:] == [
        "relinquished",
        "received",
        "relinquished",
        "received",
    ]
    assert found.holder == "Carl Otis" and found.gaps == ()


def test_what_can_never_be_true_is_refused_at_any_time(season: Database) -> None:
    sample = made(season, make_weighed)
    phone = Phone("ulf", knows=False)
    over = phone.entry(
        "hand over", 100, {"codes": [code_of(season, sample)], "to": "carl"}, clock_jumped=True
    )
    (answer,) = phone.send(season, 400, over)
    assert answer.answer == "refused"


def test_from_paper_the_papers_time_stands_and_both_names_are_told(season: Database) -> None:
    sample = made(season, make_bag)
    phone = Phone()
    entry = phone.entry(
        "store",
        500,
        {"codes": [code_of(season, sample)], "place": "box"},
        source="paper",
        paper={"form": "F-12", "at": at(90).isoformat()},
    )
    assert words(phone.send(season, 500, entry, by="carl")) == ["accepted"]
    event = life(season, sample)[-1]
    assert (event.occurred_at, event.by) == (at(90), "tove")
    assert "From paper, form F-12, typed in by Carl Otis." in way(season, sample).steps[-1].words


def test_the_office_itself_still_says_why_it_enters_late(season: Database) -> None:
    sample = made(season, make_weighed)
    step = lambda s: weigh(s, sample, "fresh", "260", act(s, "carl", 245), balance="B1")  # noqa: E731
    assert refused(season, step, by="carl").code == "out-of-order"


def test_a_bag_can_be_bound_from_the_field_after_its_tag_was_only_printed(season: Database) -> None:
    code = done(season, lambda session: make_tag(session))
    phone = Phone()
    assert words(phone.send(season, 200, *phone.bagged(code))) == ["accepted"] * 4
