"""What waits where."""

from __future__ import annotations

from collections import Counter

from tests.makers import (
    act,
    at,
    done,
    made,
    make_bag,
    make_ground,
    make_plan,
    make_received,
    make_signed_away,
)
from tracker.domain.way import WAITING
from tracker.lookups.bench_queue import Waiting, how_many_wait, waiting
from tracker.steps.end_sample import archive, cancel, dispose
from tracker.steps.hold import hold, lift_hold
from tracker.storage.engine import Database
from tracker.storage.people import party


def queue(season: Database) -> tuple[Waiting, ...]:
    with season.read() as session:
        return waiting(session)


def test_nothing_waits_in_a_new_season(season: Database) -> None:
    assert queue(season) == ()


def test_what_waits_stands_in_the_order_of_the_way(season: Database) -> None:
    for maker, field in ((make_ground, "D"), (make_received, "C"), (make_signed_away, "B"), (make_plan, "A")):
        made(season, maker, field=field)
    assert [(one.field, one.waits_for) for one in queue(season)] == [
        ("A", "coring"),
        ("B", "receipt"),
        ("C", "weighing in"),
        ("D", "the scan"),
    ]


def test_of_those_that_wait_for_the_same_the_longest_wait_stands_first(season: Database) -> None:
    made(season, make_plan, field="Later", minute=30)
    made(season, make_plan, field="Sooner", minute=20)
    assert [(one.field, one.since) for one in queue(season)] == [("Sooner", at(20)), ("Later", at(30))]


def test_a_line_says_which_bag_and_who_has_it(season: Database) -> None:
    made(season, make_bag)
    (one,) = queue(season)
    assert (one.lot, one.producer, one.field, one.cutting) == (1, "Oda Meadow", "Long field", 2)
    assert (one.state, one.holder, one.hold, one.since) == ("bagged", "Tove Lind", None, at(65))
    assert one.code is not None and len(one.code) == len("XXXX-XXXX")


def test_what_is_signed_away_waits_for_the_one_who_signs_for_it(season: Database) -> None:
    made(season, make_signed_away)
    (one,) = queue(season)
    assert (one.waits_for, one.holder) == ("receipt", "Carl Otis")


def test_what_is_only_planned_has_no_code_and_no_holder(season: Database) -> None:
    made(season, make_plan)
    (one,) = queue(season)
    assert (one.code, one.holder) == (None, None)


def test_a_hold_waits_for_a_decision_and_then_no_more(season: Database) -> None:
    sample = made(season, make_received, condition=["torn"])
    (one,) = queue(season)
    assert one.waits_for == "a decision on its hold"
    assert one.hold is not None and "torn" in one.hold
    done(season, lambda s: lift_hold(s, sample, act(s, "lena", 300), reason="only the outer bag"))
    (one,) = queue(season)
    assert (one.waits_for, one.hold) == ("weighing in", None)


def test_what_has_ended_or_is_put_away_waits_for_nobody(season: Database) -> None:
    off, kept = made(season, make_plan), made(season, make_ground, field="Hill")
    done(season, lambda s: cancel(s, off, act(s, "tove", 10), reason="sold"))
    done(season, lambda s: archive(s, kept, party(s, "store"), act(s, "ana", 1400)))
    assert queue(season) == ()


def test_what_is_put_away_and_held_waits_for_a_decision(season: Database) -> None:
    kept = made(season, make_ground)
    done(season, lambda s: archive(s, kept, party(s, "store"), act(s, "ana", 1400)))
    done(season, lambda s: hold(s, kept, act(s, "carl", 1410), reason="two bags, one code?"))
    (one,) = queue(season)
    assert (one.waits_for, one.state) == ("a decision on its hold", "archived")


def test_some_of_what_waits_is_what_the_whole_queue_says_of_it(season: Database) -> None:
    for number, maker in enumerate((make_ground, make_received, make_signed_away, make_plan, make_bag)):
        names = [{"load": f"L-{n}"} if maker is make_ground else {} for n in (1, 2)]
        made(season, maker, field=f"Free {number}", **names[0])
        held = made(season, maker, field=f"Held {number}", **names[1])
        done(season, lambda s, held=held: hold(s, held, act(s, "lena", 1390), reason="looked at"))
    ended = made(season, make_ground, field="Over", load="L-3")
    done(season, lambda s: dispose(s, ended, act(s, "lena", 1395), method="fed to the goats"))
    everything = queue(season)
    assert len(everything) == 10 and {one.hold for one in everything} == {None, "looked at"}
    with season.read() as session:
        counts = how_many_wait(session)
        assert counts == Counter(one.waits_for for one in everything)
        for thing in WAITING:
            assert waiting(session, (thing,)) == tuple(one for one in everything if one.waits_for == thing)
        longest = sorted(everything, key=lambda one: one.since)[:4]
        assert set(waiting(session, most=4)) == set(longest)
