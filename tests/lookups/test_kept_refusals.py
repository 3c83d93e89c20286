"""What was refused is kept and can be asked for."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, at, made, make_received, make_weighed, refused
from tracker.lookups.kept_refusals import parked_rows, refusals
from tracker.steps.weigh_in import weigh
from tracker.storage.engine import Database


def test_nothing_was_refused_in_a_new_season(season: Database) -> None:
    with season.read() as session:
        assert (refusals(session), parked_rows(session)) == ((), ())


def test_a_refusal_is_kept_with_what_was_given_and_by_whom(season: Database) -> None:
    sample = made(season, make_received)

    def step(session: Session) -> None:
        weigh(session, sample, "tare", "18,6", act(session, "carl", 250))

    refused(season, step, by="carl", grams="18,6", balance=None)
    with season.read() as session:
        (one,) = refusals(session)
    assert (one.act, one.by, one.at) == ("step", "carl", at(0))
    assert one.given == {"grams": "18,6", "balance": None}
    assert (one.code, one.field, one.line) == ("not-a-number", "grams", None)
    assert (one.message, one.remedy) == ("'18,6' is not a number.", "Write a point for the decimals: 18.6.")


def test_the_latest_stands_first_and_only_so_many_are_shown(season: Database) -> None:
    sample = made(season, make_weighed)
    for grams in ("-1", "-2", "-3"):
        step = lambda s, grams=grams: weigh(s, sample, "fresh", grams, act(s, "carl", 260))  # noqa: E731
        refused(season, step, grams=grams)
    with season.read() as session:
        assert [one.given["grams"] for one in refusals(session)] == ["-3", "-2", "-1"]
        assert [one.given["grams"] for one in refusals(session, limit=2)] == ["-3", "-2"]


def test_a_slip_of_the_program_is_no_refusal_and_leaves_nothing(season: Database) -> None:
    with pytest.raises(ZeroDivisionError), season.act("step", "tove", {}) as session:
        make_received(session)
        _ = 1 / 0
    with season.read() as session:
        assert refusals(session) == ()
        assert session.connection().exec_driver_sql("select count(*) from event").scalar() == 0
