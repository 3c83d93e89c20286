"""Putting a sample on hold, and deciding that it may go on."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    done,
    kinds,
    made,
    make_bag,
    make_received,
    make_signed_away,
    refused,
    standing,
)
from tracker.steps.end_sample import lose
from tracker.steps.hold import hold, lift_hold
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database


def held(session: Session, sample: Sample, who: str = "tove", reason: str = "which field?") -> None:
    hold(session, sample, act(session, who, 245), reason=reason)


def lifted(session: Session, sample: Sample, who: str = "lena", reason: str = "asked the owner") -> None:
    lift_hold(session, sample, act(session, who, 250), reason=reason)


def kept_hold(season: Database, sample: Sample) -> str | None:
    with season.read() as session:
        return session.get_one(StandingRow, sample.id).hold


def test_a_hold_stands_until_somebody_of_the_laboratory_decides(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: held(s, sample))
    assert [one.reason for one in standing(season, sample).holds] == ["which field?"]
    assert kept_hold(season, sample) == "which field?"
    done(season, lambda s: lifted(s, sample))
    assert (standing(season, sample).holds, kept_hold(season, sample)) == ((), None)
    assert kinds(season, sample)[-2:] == ["held", "hold lifted"]


def test_two_holds_are_both_said_and_lifted_together(season: Database) -> None:
    sample = made(season, make_received, condition=["wet"])
    done(season, lambda s: held(s, sample))
    assert len(standing(season, sample).holds) == 2
    assert "wet" in str(kept_hold(season, sample)) and "which field?" in str(kept_hold(season, sample))
    done(season, lambda s: lifted(s, sample))
    assert not standing(season, sample).on_hold


@pytest.mark.parametrize("who", ["tove", "ulf"])
def test_nobody_of_the_field_decides_on_a_hold(season: Database, who: str) -> None:
    sample = made(season, make_received)
    done(season, lambda s: held(s, sample))
    assert refused(season, lambda s: lifted(s, sample, who), by=who).code == "not-allowed"


@pytest.mark.parametrize("step", [held, lifted])
def test_both_want_a_reason(season: Database, step: object) -> None:
    sample = made(season, make_received, condition=["wet"])
    assert callable(step)
    assert refused(season, lambda s: step(s, sample, "lena", " ")).code == "reason-missing"


def test_what_is_not_on_hold_cannot_be_let_go(season: Database) -> None:
    sample = made(season, make_received)
    assert refused(season, lambda s: lifted(s, sample)).code == "not-on-hold"


@pytest.mark.parametrize("maker", [make_bag, make_signed_away])
def test_a_bag_may_be_held_wherever_it_is(season: Database, maker: object) -> None:
    assert callable(maker)
    sample = made(season, maker)
    before = standing(season, sample).state
    done(season, lambda s: held(s, sample))
    assert (standing(season, sample).state, standing(season, sample).on_hold) == (before, True)


def test_what_has_ended_is_not_held(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: lose(s, sample, act(s, "tove", 70), circumstances="fell off the tailgate"))
    assert refused(season, lambda s: held(s, sample)).code == "sample-ended"
