"""What phones send: kept as it came, done once, answered for ever, and never held up by another entry."""

from __future__ import annotations

from copy import deepcopy
from threading import Thread

import pytest
from sqlalchemy import func, select

from tests.makers import (
    act,
    at,
    done,
    everything,
    kinds,
    life,
    made,
    make_bag,
    make_plan,
    make_tag,
    remarks,
    standing,
)
from tests.phones import LOT, Phone, words
from tracker.domain.chain import gaps
from tracker.steps.bag_cores import replace_tag
from tracker.steps.hand_over import relinquish
from tracker.steps.print_tags import void_tag
from tracker.steps.receive import receive
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.field import FieldAnswer, FieldContact, FieldEntry
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Lot
from tracker.storage.people import party


@pytest.fixture
def code(season: Database) -> str:
    return str(done(season, lambda session: make_tag(session)))


def only_sample(season: Database) -> Sample:
    with season.read() as session:
        return session.scalars(select(Sample)).one()


def count(season: Database, row: type) -> int:
    with season.read() as session:
        return session.scalar(select(func.count()).select_from(row)) or 0


def test_a_day_without_signal_arrives_as_it_was_done(season: Database, code: str) -> None:
    phone = Phone()
    entries = phone.bagged(code)
    entries.append(phone.entry("store", 90, {"codes": [code], "place": "box"}))
    assert words(phone.send(season, 300, *entries)) == ["accepted"] * 5
    sample = only_sample(season)
    assert kinds(season, sample) == ["plan issued", "cored", "bagged", "stored"]
    assert [event.occurred_at for event in life(season, sample)] == [at(11), at(40), at(45), at(90)]
    assert {event.recorded_at for event in life(season, sample)} == {at(300)}
    found = standing(season, sample)
    assert (found.state, found.code, found.holder and found.holder.party) == ("bagged", code, "box")


def test_the_answer_names_what_was_made_so_that_the_phone_can_go_on(season: Database, code: str) -> None:
    answers = Phone().send(season, 300, *Phone().bagged(code))
    sample = only_sample(season)
    assert answers[0].made == {"lot": sample.lot_id, "sample": None, "code": None}
    assert answers[3].made == {"lot": sample.lot_id, "sample": sample.id, "code": code}


def test_an_entry_sent_twice_makes_one_record_and_gets_its_first_answer(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    (first,) = phone.send(season, 300, lot)
    before = everything(season) | {"field_contact": []}
    (second,) = phone.send(season, 400, lot)
    assert everything(season) | {"field_contact": []} == before
    assert second.answer == "duplicate"
    assert {**vars(second), "answer": ""} == {**vars(first), "answer": ""}


def test_a_refused_entry_sent_again_gets_its_refusal_again_also_once_it_could_be_done(
    season: Database,
) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, {**LOT, "forage": "seaweed"})
    (first,) = phone.send(season, 300, lot)
    (again,) = phone.send(season, 310, lot)
    assert words((first, again)) == ["refused unknown-forage-kind", "duplicate unknown-forage-kind"]
    assert (again.words, again.field, again.remedy) == (first.words, first.field, first.remedy)
    assert count(season, Lot) == 0


def test_the_same_id_with_another_body_is_refused_and_changes_nothing(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    phone.send(season, 300, lot)
    other = deepcopy(lot)
    other["payload"]["bale_count"] = 500
    before = everything(season) | {"field_contact": []}
    assert words(phone.send(season, 310, other)) == ["refused entry-differs"]
    assert everything(season) | {"field_contact": []} == before
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal)).one()
    assert kept.code == "entry-differs" and "500" in str(kept.given)
    assert words(phone.send(season, 320, lot)) == ["duplicate"]


def test_the_order_of_names_in_a_body_is_no_difference(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    phone.send(season, 300, lot)
    assert words(phone.send(season, 310, dict(reversed(lot.items())))) == ["duplicate"]


def test_twenty_posts_of_one_entry_at_once_make_one_record(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    answers = []

    def post() -> None:
        answers.extend(phone.send(season, 300, lot))

    posts = [Thread(target=post) for _ in range(20)]
    for one in posts:
        one.start()
    for one in posts:
        one.join()
    assert sorted(words(tuple(answers))) == ["accepted"] + ["duplicate"] * 19
    assert all(answer.made == answers[0].made for answer in answers)
    assert (count(season, Lot), count(season, FieldEntry), count(season, FieldAnswer)) == (1, 1, 1)
    assert count(season, FieldContact) == 20


def test_one_bad_entry_of_fifty_holds_up_no_other(season: Database) -> None:
    phone = Phone()
    entries = [
        phone.entry("register lot", 10 + number, {**LOT, "field": f"Field {number}"}) for number in range(50)
    ]
    entries[6]["payload"]["bale_count"] = "many"
    answers = phone.send(season, 300, *entries)
    assert words(answers) == ["accepted"] * 6 + ["refused not-a-count"] + ["accepted"] * 43
    assert (answers[6].field, bool(answers[6].remedy)) == ("bale_count", True)
    assert count(season, Lot) == 49


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"event_id": "12"}, "entry-id"),
        ({"event_id": "0190b1f0-0000-4000-8000-000000000000"}, "entry-id"),
        ({"kind": "release"}, "unknown-entry-kind"),
        ({"seq": 0}, "entry-unreadable"),
        ({"seq": "1"}, "entry-unreadable"),
        ({"device_time": "2026-06-20 09:00"}, "not-a-time"),
        ({"payload": []}, "entry-unreadable"),
        ({"who": "nobody-here"}, "unknown-party"),
        ({"source": "paper"}, "entry-unreadable"),
        ({"clock_offset_ms": "0.5"}, "entry-unreadable"),
        ({"more": 1}, "entry-unreadable"),
    ],
)
def test_an_entry_spoiled_in_one_place_is_refused_and_kept_and_the_next_is_taken(
    season: Database, change: dict[str, object], code: str
) -> None:
    phone = Phone()
    bad, good = phone.entry("register lot", 10, LOT) | change, phone.entry("register lot", 11, LOT)
    assert words(phone.send(season, 300, bad, good)) == [f"refused {code}", "accepted"]
    with season.read() as session:
        assert session.scalars(select(KeptRefusal.code)).one() == code


def test_an_entry_that_hangs_on_one_not_here_yet_waits_and_is_done_when_that_comes(
    season: Database, code: str
) -> None:
    phone = Phone()
    lot, plan, core, bag = phone.bagged(code)
    assert words(phone.send(season, 300, bag, core, plan)) == ["later"] * 3
    assert count(season, EventRow) == 1, "only the tag was printed"
    assert words(phone.send(season, 310, lot)) == ["accepted"]
    assert kinds(season, only_sample(season)) == ["plan issued", "cored", "bagged"]
    assert words(phone.send(season, 320, plan, core, bag)) == ["duplicate"] * 3


def test_what_hangs_on_a_refused_entry_follows_the_one_that_puts_it_right(season: Database) -> None:
    phone = Phone()
    lot, plan = phone.planned(forage="seaweed")
    assert words(phone.send(season, 300, lot, plan)) == ["refused unknown-forage-kind", "later"]
    again = phone.entry("register lot", 20, {**LOT, "replaces": lot["event_id"]})
    assert words(phone.send(season, 310, again, plan)) == ["accepted", "accepted"]
    assert kinds(season, only_sample(season)) == ["plan issued"]


def test_a_fault_of_ours_loses_no_entry_and_holds_up_no_other(
    season: Database, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    phone = Phone()
    bad, good = (
        phone.entry("note", 10, {"about": "lot 1", "words": "x"}),
        phone.entry("register lot", 11, LOT),
    )
    from tracker.steps import field_acts

    with monkeypatch.context() as broken:
        broken.setitem(field_acts._KINDS, "note", lambda *_: 1 / 0)
        assert words(phone.send(season, 300, bad, good)) == ["later", "accepted"]
    assert "ZeroDivisionError" in caplog.text
    assert words(phone.send(season, 310, bad)) == ["accepted"]


def test_two_phones_that_register_one_lot_made_one_lot_and_each_is_told(season: Database) -> None:
    first, second = Phone(), Phone("ulf")
    first.send(season, 300, first.entry("register lot", 10, LOT))
    (answer,) = second.send(season, 310, second.entry("register lot", 12, {**LOT, "bale_count": 120}))
    assert (answer.answer, answer.made and answer.made["lot"], count(season, Lot)) == ("accepted", 1, 1)
    assert "bale count is 118 there and 120 here" in answer.notices[0]
    with season.read() as session:
        row = session.scalars(select(EventRow).where(EventRow.kind == "lot registered again")).one()
    assert row.data["differs"] == {"bale_count": ["118", "120"]}


def test_a_producer_nobody_knew_is_taken_in_with_the_lot(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, {**LOT, "producer": {"name": "Nils Stubble", "phone": "555-0101"}})
    assert words(phone.send(season, 300, lot)) == ["accepted"]


def test_a_lot_that_is_too_large_is_refused_with_the_way_out(season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, {**LOT, "bale_count": 9000})
    assert words(phone.send(season, 300, lot)) == ["refused lot-too-large"]


def test_a_plan_drawn_from_the_seed_is_the_offices_and_other_bales_are_told(season: Database) -> None:
    phone = Phone()
    lot, plan = phone.planned()
    plan["payload"]["picks"] = [{"bale": 1, "cores": 20}]
    answers = phone.send(season, 300, lot, plan)
    assert words(answers) == ["accepted", "accepted"]
    assert "drew other bales" in answers[1].notices[0]


def test_fewer_cores_than_planned_need_a_reason_in_words(season: Database) -> None:
    phone = Phone()
    lot, plan = phone.planned()
    sample = {"sample": {"entry": plan["event_id"]}, "bales": {"3": 1}, "entry": "end"}
    silent = phone.entry("core lot", 40, {**sample, "deviations": []})
    said = phone.entry("core lot", 41, {**sample, "deviations": ["stack not safe to climb"]})
    answers = phone.send(season, 300, lot, plan, silent, said)
    assert words(answers) == ["accepted", "accepted", "refused deviation-missing", "accepted"]


def test_where_the_phone_was_and_what_it_weighed_is_kept_with_its_digits(season: Database) -> None:
    phone = Phone()
    lot, plan = phone.planned()
    more = {"composite_g": "231.50", "place": {"lat": 44.123450, "lon": -93.5, "accuracy_m": 12}}
    core = phone.entry(
        "core lot", 40, {"sample": {"entry": plan["event_id"]}, "entry": "end", **more, "weather": "dry"}
    )
    assert words(phone.send(season, 300, lot, plan, core)) == ["accepted"] * 3
    data = life(season, only_sample(season))[-1].data
    assert data["composite_g"] == "231.50"
    assert data["place"] == {"lat": "44.12345", "lon": "-93.5", "accuracy_m": "12"}


def test_two_people_with_one_phone_are_two_entries_by_two_people(season: Database, code: str) -> None:
    phone = Phone()
    entries = phone.bagged(code)
    given = {"codes": [code], "to": "ulf", "to_signs": True, "receiver": "ulf", "condition": ["dry"]}
    entries.append(phone.entry("hand over", 90, given))
    assert words(phone.send(season, 300, *entries)) == ["accepted"] * 5
    gave, took = life(season, only_sample(season))[-2:]
    assert [(gave.kind, gave.by), (took.kind, took.by)] == [("relinquished", "tove"), ("received", "ulf")]
    assert took.data["origin"]["signed_on_phone_of"] == "tove"
    assert gaps(life(season, only_sample(season)), {}) == ()


def test_two_people_with_two_phones_in_either_order_end_the_same(season: Database, code: str) -> None:
    giver, taker = Phone(), Phone("ulf")
    giver.send(season, 100, *giver.bagged(code))
    over = giver.entry("hand over", 90, {"codes": [code], "to": "ulf"})
    took = taker.entry("receive", 91, {"codes": [code], "from": "tove", "condition": ["dry"]})
    assert words(taker.send(season, 200, took)) == ["later"]
    assert words(giver.send(season, 210, over)) == ["accepted"]
    sample = only_sample(season)
    assert kinds(season, sample)[-2:] == ["relinquished", "received"]
    found = standing(season, sample)
    assert (found.holder and found.holder.party, found.on_hold) == ("ulf", False)
    assert words(taker.send(season, 220, took)) == ["duplicate"]


def test_what_the_taker_did_next_waits_with_his_receipt(season: Database, code: str) -> None:
    giver, taker = Phone(), Phone("ulf")
    giver.send(season, 100, *giver.bagged(code))
    over = giver.entry("hand over", 90, {"codes": [code], "to": "ulf"})
    took = taker.entry("receive", 91, {"codes": [code], "from": "tove", "condition": ["dry"]})
    put = taker.entry("store", 95, {"codes": [code], "place": "box"})
    assert words(taker.send(season, 200, took, put)) == ["later", "later"]
    assert words(giver.send(season, 210, over)) == ["accepted"]
    assert kinds(season, only_sample(season))[-3:] == ["relinquished", "received", "stored"]
    assert words(taker.send(season, 220, took, put)) == ["duplicate", "duplicate"]


def test_a_receipt_whose_giver_never_sends_stands_alone_after_a_day_and_says_so(
    season: Database, code: str
) -> None:
    giver, taker = Phone(), Phone("ulf")
    giver.send(season, 100, *giver.bagged(code))
    took = taker.entry("receive", 91, {"codes": [code], "from": "tove", "condition": ["dry"]})
    assert words(taker.send(season, 200, took)) == ["later"]
    assert words(taker.send(season, 200 + 24 * 60, took)) == ["accepted"]
    assert standing(season, only_sample(season)).on_hold


def test_a_carrier_needs_a_waybill_also_from_a_phone(season: Database, code: str) -> None:
    phone = Phone()
    entries = phone.bagged(code)
    entries.append(phone.entry("hand over", 90, {"codes": [code], "to": "van"}))
    entries.append(phone.entry("hand over", 91, {"codes": [code], "to": "van", "waybill": "W-9"}))
    assert words(phone.send(season, 300, *entries))[4:] == ["refused waybill-missing", "accepted"]


def test_a_hand_over_to_a_place_puts_the_bag_there(season: Database, code: str) -> None:
    phone = Phone()
    entries = phone.bagged(code)
    entries.append(phone.entry("hand over", 90, {"codes": [code], "to": "box"}))
    phone.send(season, 300, *entries)
    assert kinds(season, only_sample(season))[-1] == "stored"


def test_several_bags_are_handed_over_together_or_not_at_all(season: Database) -> None:
    one, two = made(season, make_bag), made(season, make_bag, field="Hill")
    codes = [standing(season, one).code, standing(season, two).code]
    done(season, lambda s: relinquish(s, two, party(s, "carl"), act(s, "tove", 70)))
    phone = Phone()
    (answer,) = phone.send(season, 300, phone.entry("hand over", 90, {"codes": codes, "to": "ulf"}))
    assert words((answer,)) == ["refused wrong-state"]
    assert str(answer.words).startswith(str(codes[1])[:4])
    assert standing(season, one).transfer is None


def test_an_entry_sent_under_another_sign_in_says_whose(season: Database, code: str) -> None:
    phone = Phone()
    phone.send(season, 300, *phone.bagged(code), by="ulf")
    event = life(season, only_sample(season))[-1]
    assert (event.by, event.data["origin"]["sent_by"]) == ("tove", "ulf")


def test_a_note_is_kept_of_a_bag_also_after_its_end(season: Database) -> None:
    sample = made(season, make_plan)
    phone = Phone()
    (answer,) = phone.send(
        season, 300, phone.entry("note", 90, {"about": {"id": sample.lot_id}, "words": "gate code 12"})
    )
    assert (answer.answer, kinds(season, sample)[-1]) == ("accepted", "noted")


def test_an_unknown_tag_is_refused_and_a_tag_of_no_bag_waits(season: Database, code: str) -> None:
    phone = Phone()
    answers = phone.send(
        season,
        300,
        phone.entry("store", 90, {"codes": ["AAAA-AAAA"], "place": "box"}),
        phone.entry("store", 91, {"codes": [code], "place": "box"}),
    )
    assert [answer.answer for answer in answers] == ["refused", "later"]
    assert "on no bag" in str(answers[1].words)


def test_a_bag_scanned_before_its_tag_was_replaced_is_still_that_bag(season: Database) -> None:
    sample = made(season, make_bag)
    old, fresh = str(standing(season, sample).code), done(season, lambda session: make_tag(session))
    done(season, lambda s: replace_tag(s, sample, fresh, act(s, "tove", 120), reason="torn"))
    phone = Phone()
    put = phone.entry("store", 100, {"codes": [old], "place": "box"})
    assert words(phone.send(season, 300, put)) == ["accepted"]
    assert standing(season, sample).code == fresh
    # By the record she had the bag in her hands when she replaced its tag: that is doubted, and kept.
    assert remarks(life(season, sample)[-1]) == ["order-doubted"]
    spare = done(season, lambda session: make_tag(session))
    done(season, lambda s: void_tag(s, spare, act(s, "tove", 130), reason="torn"))
    other = phone.entry("take out", 140, {"codes": [spare]})
    assert words(phone.send(season, 310, other)) == ["refused tag-void"]


def test_a_desk_that_received_the_bag_first_keeps_its_true_time(season: Database) -> None:
    # The giver's phone runs three minutes ahead and does not know it.
    sample = made(season, make_bag)
    phone = Phone(slow=-3, knows=False)
    over = phone.entry("hand over", 100, {"codes": [standing(season, sample).code], "to": "carl"})
    assert words(phone.send(season, 100, over)) == ["accepted"]
    done(season, lambda s: receive(s, sample, act(s, "carl", 101), condition=["dry"]))
    assert [event.occurred_at for event in life(season, sample)[-2:]] == [at(100), at(101)]
