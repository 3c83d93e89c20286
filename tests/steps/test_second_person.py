"""Where the programme wants it, nobody releases what he took in, nor lifts the hold he put on."""

from __future__ import annotations

import pytest

from tests.makers import act, done, refused, standing
from tests.result_files import Bench, release, released, row, taken_in, written
from tracker.domain.practice import COMMON, checked_value
from tracker.errors import Refused
from tracker.steps.hold import hold, lift_hold
from tracker.steps.set_practice import set_practice


def wanted(bench: Bench, answer: str = "yes") -> None:
    done(
        bench.season,
        lambda s: set_practice(
            s,
            "release_second_person",
            answer,
            act(s, "lena", 1390),
            source="our handbook",
            reason="two of us",
        ),
    )


def test_by_default_one_person_may_do_both(bench: Bench) -> None:
    assert COMMON.word("release_second_person") == "no"
    taken_in(bench, written([row(bench.codes[0])]))
    assert released(bench, bench.samples[0], who="ana").issued_by == "ana"


def test_whoever_took_the_analysis_in_may_not_release_it(bench: Bench) -> None:
    wanted(bench)
    taken_in(bench, written([row(bench.codes[0])]))
    answer = refused(bench.season, lambda s: release(s, bench.samples[0], who="ana"), by="ana")
    assert (answer.code, answer.field) == ("second-person-needed", "by")
    assert released(bench, bench.samples[0], who="lena").issued_by == "lena"


def test_whoever_put_a_sample_on_hold_may_not_lift_it(bench: Bench) -> None:
    wanted(bench)
    sample = bench.samples[0]
    done(bench.season, lambda s: hold(s, sample, act(s, "carl", 1400), reason="doubtful"))
    lift = lambda who: lambda s: lift_hold(s, sample, act(s, who, 1410), reason="it is fine")  # noqa: E731
    assert refused(bench.season, lift("carl"), by="carl").code == "second-person-needed"
    done(bench.season, lift("ana"))
    assert not standing(bench.season, sample).on_hold


def test_the_rule_can_be_taken_back(bench: Bench) -> None:
    wanted(bench)
    wanted(bench, "no")
    taken_in(bench, written([row(bench.codes[0])]))
    assert released(bench, bench.samples[0], who="ana").version == 1


def test_the_rule_is_yes_or_no() -> None:
    with pytest.raises(Refused) as caught:
        checked_value("release_second_person", "perhaps")
    assert caught.value.code == "not-a-choice"
