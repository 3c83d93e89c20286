"""Choosing which of several analyses stands."""

from __future__ import annotations

from functools import partial

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, everything, kinds, life, refused, standing
from tests.result_files import NIR_MAP, Bench, add_map, attached, body_of, result, row, taken_in, written
from tracker.lookups.analyses import analyses_of
from tracker.steps.choose_analysis import choose_analysis
from tracker.steps.hold import hold
from tracker.storage.custody import EventRow


def twice_scanned(bench: Bench, **changes: str) -> list[int]:
    """The numbers of two analyses of the first sample, the first one first; changes are in the second."""
    code = bench.codes[0]
    taken_in(bench, written([row(code)]))
    taken_in(bench, written([row(code, CP_pc_DM="17.9", Scanned="2026-06-21 07:00:00", **changes)]))
    return numbers(bench)[::-1]


def numbers(bench: Bench) -> list[int]:
    """The first sample's analyses, the one that stands first."""
    with bench.season.read() as session:
        return [line.id for line in analyses_of(session, bench.samples[0].id)]


def chosen(
    bench: Bench,
    session: Session,
    number: int,
    *,
    reason: str = "the second had drifted",
    minute: float = 1450,
) -> EventRow:
    return choose_analysis(session, bench.samples[0], number, act(session, "ana", minute), reason=reason)


def test_until_somebody_chooses_the_newer_one_stands_and_the_sample_waits(bench: Bench) -> None:
    first, second = twice_scanned(bench)
    assert numbers(bench) == [second, first]
    assert standing(bench.season, bench.samples[0]).on_hold


def test_the_one_chosen_stands_and_the_hold_is_lifted(bench: Bench) -> None:
    sample = bench.samples[0]
    first, second = twice_scanned(bench)
    values = everything(bench.season)["result_value"]
    done(bench.season, lambda s: chosen(bench, s, first))
    assert numbers(bench) == [first, second]
    assert result(body_of(bench, sample), "CP")["dm"] == "18.6"
    assert not standing(bench.season, sample).on_hold
    assert kinds(bench.season, sample)[-2:] == ["analysis chosen", "hold lifted"]
    choice, lifted = life(bench.season, sample)[-2:]
    assert (choice.data["number"], choice.by) == (str(first), "ana")
    assert choice.data["reason"] == lifted.data["reason"] == "the second had drifted"
    # Neither analysis is taken away or changed.
    assert everything(bench.season)["result_value"] == values


def test_the_choice_may_be_made_anew(bench: Bench) -> None:
    first, second = twice_scanned(bench)
    for minute, number in ((1450, first), (1451, second), (1452, first)):
        done(bench.season, partial(chosen, bench, number=number, minute=minute))
        assert numbers(bench)[0] == number
    # There was nothing to lift any more.
    assert kinds(bench.season, bench.samples[0]).count("hold lifted") == 1


def test_what_the_one_chosen_did_not_measure_stands_from_the_other(bench: Bench) -> None:
    code = bench.codes[0]
    taken_in(bench, written([row(code, ADF_pc_DM="")]))
    taken_in(bench, written([row(code, CP_pc_DM="17.9", ADF_pc_DM="32.0")]))
    first = numbers(bench)[1]
    done(bench.season, lambda s: chosen(bench, s, first))
    body = body_of(bench, bench.samples[0])
    assert (result(body, "CP")["dm"], result(body, "ADF")["dm"]) == ("18.6", "32.0")


def test_a_hold_put_on_by_a_person_stays(bench: Bench) -> None:
    sample = bench.samples[0]
    first, _ = twice_scanned(bench)
    done(bench.season, lambda s: hold(s, sample, act(s, "carl", 1440), reason="label unclear"))
    done(bench.season, lambda s: chosen(bench, s, first))
    assert numbers(bench)[0] == first
    assert "label unclear" in [one.reason for one in standing(bench.season, sample).holds]
    assert kinds(bench.season, sample)[-1] == "analysis chosen"


def test_a_spectrum_outside_the_calibration_is_not_let_through_by_a_choice(bench: Bench) -> None:
    sample = bench.samples[0]
    first, _ = twice_scanned(bench, GH="4.0")
    done(bench.season, lambda s: chosen(bench, s, first))
    assert standing(bench.season, sample).on_hold
    assert kinds(bench.season, sample)[-1] == "analysis chosen"


def test_a_hold_for_another_reason_alone_is_not_lifted(bench: Bench) -> None:
    sample = bench.samples[0]
    taken_in(bench, written([row(bench.codes[0], GH="4.0")]))
    (only,) = numbers(bench)
    done(bench.season, lambda s: chosen(bench, s, only))
    assert standing(bench.season, sample).on_hold


@pytest.mark.parametrize("number", [99, None])
def test_only_an_analysis_of_this_sample_can_stand(bench: Bench, number: int | None) -> None:
    if number is None:
        taken_in(bench, written([row(bench.codes[1])]))
        with bench.season.read() as session:
            number = analyses_of(session, bench.samples[1].id)[0].id
    answer = refused(bench.season, lambda s: chosen(bench, s, number or 0))
    assert (answer.code, answer.field) == ("unknown-analysis", "analysis")


def test_a_choice_wants_a_reason(bench: Bench) -> None:
    first, _ = twice_scanned(bench)
    assert refused(bench.season, lambda s: chosen(bench, s, first, reason=" ")).code == "reason-missing"


def test_of_three_repeats_in_a_file_the_third_waits_for_the_choice_between_two(bench: Bench) -> None:
    done(bench.season, lambda s: add_map(s, "cups", {**NIR_MAP, "repeat": "Cup"}))
    rows = [{**row(bench.codes[0]), "Cup": str(cup)} for cup in (1, 2, 3)]
    taken = taken_in(bench, written(rows, (*rows[0],)), source="cups")
    assert (taken.taken, taken.parked) == (2, 1)
    assert len(attached(bench, bench.samples[0])) == 2
