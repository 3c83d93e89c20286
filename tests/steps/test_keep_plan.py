"""A season plan is kept as it was made: once for one outcome, beside the next, and gone with its producer's words."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, everything, refused
from tests.result_files import Bench, bench, bench_template
from tests.season_makers import make_season
from tracker.domain.season_kept import Question, changed_inputs, changed_outcome
from tracker.errors import NotFound
from tracker.lookups.kept_plans import kept_plan, kept_plans
from tracker.lookups.season_plan import Season, season_asked
from tracker.steps.erase_person import erase_producer
from tracker.steps.keep_group import keep_group
from tracker.steps.keep_plan import keep_plan
from tracker.steps.set_feed import set_feed
from tracker.steps.set_practice import set_practice

__all__ = ["bench", "bench_template"]
WINTER = Question(date(2026, 11, 1), 2, waste=Decimal("12.5"))


def asked(bench: Bench, question: Question = WINTER) -> Season:
    with bench.season.read() as session:
        return season_asked(session, "Oda Meadow", question)


def kept(bench: Bench, question: Question = WINTER, minute: float = 1700) -> int:
    found = asked(bench, question)
    told = found.told(found.answer(question))
    return int(
        done(
            bench.season,
            lambda s: (
                keep_plan(
                    s, "Oda Meadow", question, found.rests_on, told, b"%PDF-1", act(s, "lena", minute)
                ).id
            ),
        )
    )


def test_a_plan_is_opened_again_as_it_was_made(bench: Bench) -> None:
    make_season(bench)
    number = kept(bench)
    with bench.season.read() as session:
        found = kept_plan(session, number)
    assert (found.line.producer, found.line.by, found.line.question) == ("Oda Meadow", "Lena Roy", WINTER)
    assert found.paper == b"%PDF-1" and found.told["months"] == ["Nov 2026", "Dec 2026"]
    lot = str(bench.samples[0].lot_id)
    assert (found.rests_on["lot"][lot]["cp"], found.rests_on["lot"][lot]["bales"]) == ("9.0", 118)
    assert found.rests_on["feed"]["corn"]["price_ton"] == "190"
    assert found.rests_on["group"]["bulls"]["head"] == 1


def test_the_same_plan_asked_for_twice_is_one_record(bench: Bench) -> None:
    make_season(bench)
    number = kept(bench)
    before = everything(bench.season)
    assert kept(bench, minute=1800) == number
    assert everything(bench.season) == before
    other = Question(date(2026, 12, 1), 2)
    assert [kept(bench, other), kept(bench)] == [number + 1, number + 2]
    with bench.season.read() as session:
        assert [line.number for line in kept_plans(session, "Oda Meadow")] == [number + 2, number + 1, number]


def test_what_is_otherwise_by_now_is_named_and_the_record_stays(bench: Bench) -> None:
    make_season(bench)
    number = kept(bench)

    def later(session: Session) -> None:
        who = act(session, "lena", 2000)
        set_feed(session, "corn", {"price_ton": "250"}, who, reason="dear")
        set_practice(session, "storage_loss_barn", "9", who, source="weighed here", reason="ours")
        keep_group(session, "Oda Meadow", "spring cows", {"head": "9"}, who, reason="bought some")

    done(bench.season, later)
    now = asked(bench)
    with bench.season.read() as session:
        found = kept_plan(session, number)
    inputs = {one.what: (one.before, one.now) for one in changed_inputs(found.rests_on, now.rests_on)}
    assert inputs["feed corn, price ton"] == ("190", "250")
    assert inputs["group spring cows, head"] == ("2", "9")
    assert inputs["rule storage_loss_barn"] == ("5", "9")
    assert changed_outcome(found.told, found.told) == ()
    outcome = {one.what for one in changed_outcome(found.told, now.told(now.answer(WINTER)))}
    assert "spring cows, Nov 2026" in outcome or "short, tons" in outcome


def test_a_producer_who_is_erased_leaves_no_plan_to_open(bench: Bench) -> None:
    make_season(bench)
    number = kept(bench)
    done(bench.season, lambda s: erase_producer(s, "Oda Meadow", act(s, "lena", 3000), reason="asked for it"))
    with bench.season.read() as session:
        (line,) = kept_plans(session)
        assert (line.number, line.question) == (number, None)
        with pytest.raises(NotFound, match="erased with its producer"):
            kept_plan(session, number)
        with pytest.raises(NotFound, match="does not exist") as missing:
            kept_plan(session, number + 1)
    assert missing.value.code == "unknown-kept-plan"


def test_a_plan_for_nobody_is_refused(bench: Bench) -> None:
    found = refused(bench.season, lambda s: keep_plan(s, "Nobody", WINTER, {}, {}, b"", act(s, "lena", 1700)))
    assert found.code == "unknown-producer"
