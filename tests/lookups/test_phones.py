"""What the lead sees of the phones: contacts, gaps in their count, clocks, and what waits or was refused."""

from __future__ import annotations

from datetime import timedelta

from tests.makers import at, done, made, make_plan
from tests.phones import LOT, Phone
from tracker.lookups.phones import phones, refused_entries, waiting_for_others
from tracker.steps.take_entries import keep_pack_taken
from tracker.storage.engine import Database
from tracker.storage.people import party


def lot(phone: Phone, minute: float, **changes: object) -> dict[str, object]:
    return phone.entry("register lot", minute, {**LOT, "field": f"F{minute}", **changes})


def test_a_phone_that_sent_one_two_and_four_lacks_number_three(season: Database) -> None:
    phone = Phone()
    one, two, _, four = (lot(phone, minute) for minute in (10, 11, 12, 13))
    phone.send(season, 100, one, two, four)
    with season.read() as session:
        (found,) = phones(session)
    assert (found.device, found.entries, found.gaps, found.gaps_said) == (phone.device, 3, ((3, 3),), "3")
    assert (found.by, found.last_at) == ("Tove Lind", at(100))


def test_a_gap_closes_when_the_entry_comes_by_whichever_way(season: Database) -> None:
    phone = Phone()
    one, two, three = (lot(phone, minute) for minute in (10, 11, 12))
    phone.send(season, 100, one, three)
    phone.send(season, 200, two, by="carl", via="file")
    with season.read() as session:
        (found,) = phones(session)
    assert (found.gaps, found.by) == ((), "Carl Otis")


def test_a_refused_entry_and_one_that_waits_are_no_gap(season: Database) -> None:
    phone = Phone()
    refused, waits = lot(phone, 10, forage="seaweed"), phone.entry("store", 11, {"codes": ["x"]})
    waits["payload"] = {"about": {"entry": refused["event_id"]}, "words": "w"}
    waits["kind"] = "note"
    phone.send(season, 100, refused, waits)
    with season.read() as session:
        (found,) = phones(session)
        (waiting,), (turned_down,) = waiting_for_others(session), refused_entries(session)
    assert (found.gaps, found.waiting) == ((), 1)
    assert (waiting.kind, waiting.number) == ("note", 2)
    assert (turned_down.code, turned_down.payload["forage"], turned_down.fixed) == (
        "unknown-forage-kind",
        "seaweed",
        False,
    )


def test_a_refused_entry_that_was_put_right_says_so(season: Database) -> None:
    phone = Phone()
    refused = lot(phone, 10, forage="seaweed")
    phone.send(season, 100, refused)
    phone.send(season, 110, lot(phone, 20, replaces=refused["event_id"]))
    with season.read() as session:
        (found,) = refused_entries(session)
    assert found.fixed


def test_a_number_used_twice_shows_a_phone_that_was_set_back(season: Database) -> None:
    phone = Phone()
    phone.send(season, 100, lot(phone, 10))
    phone.count = 0
    phone.send(season, 110, lot(phone, 20))
    with season.read() as session:
        (found,) = phones(session)
    assert found.used_twice == (1,)


def test_a_clock_is_named_and_a_bad_one_flagged(season: Database) -> None:
    for who, slow in (("tove", 3 * 24 * 60), ("ulf", 0.5), ("carl", -7)):
        phone = Phone(who, slow=slow)
        phone.send(season, 100, lot(phone, 10, field=who))
    with season.read() as session:
        found = {phone.by: phone for phone in phones(session)}
    assert [(found[name].clock, found[name].clock_badly_wrong) for name in sorted(found)] == [
        ("7 min fast", False),
        ("3 days slow", True),
        ("right", False),
    ]
    assert found["Tove Lind"].doubted == 1 and found["Ulf Brandt"].slow == timedelta(seconds=30)


def test_a_phone_that_only_took_its_pack_is_known_with_what_it_says_it_holds(season: Database) -> None:
    made(season, make_plan)
    done(
        season,
        lambda s: keep_pack_taken(s, "a-device", "Old phone", 4, party(s, "tove"), at(50)),
    )
    with season.read() as session:
        (found,) = phones(session)
    assert (found.called, found.unsent, found.entries, found.clock) == ("Old phone", 4, 0, "not compared yet")
