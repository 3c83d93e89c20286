"""Deciding about rows that could not go in."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import act, at, done, everything, life, make_tag, refused, standing
from tests.result_files import (
    WET,
    Bench,
    attached,
    parked,
    row,
    taken_in,
    unknown_code,
    wet_row,
    wet_written,
    written,
)
from tracker.lookups.kept_refusals import Parked
from tracker.steps.answer_parked import set_aside, take_in
from tracker.steps.bag_cores import replace_tag
from tracker.storage.analysis import Analysis, ParkedAnswer, ParkedRow, ResultFile


def waiting(bench: Bench, *, code: str | None = None, **cells: str) -> Parked:
    """The one row that waits: of an unknown code, unless said."""
    taken_in(bench, written([row(unknown_code(1) if code is None else code, **cells)]))
    (one,) = parked(bench)
    return one


def decided(
    session: Session,
    number: int,
    code: str,
    *,
    corrected: dict[str, str] | None = None,
    reason: str = "read from the run list",
    minute: float = 1450,
) -> Analysis:
    return take_in(session, number, code, act(session, "lena", minute), corrected=corrected, reason=reason)


def kept(bench: Bench) -> tuple[Any, Any]:
    rows = everything(bench.season)
    return rows["parked_row"], rows["result_file"]


def test_a_row_is_taken_in_for_the_bag_it_belongs_to(bench: Bench) -> None:
    one = waiting(bench)
    before = kept(bench)
    analysis = done(bench.season, lambda s: decided(s, one.id, bench.codes[1]))
    assert str(attached(bench, bench.samples[1])[0]["CP"]) == "18.6"
    assert (analysis.line, analysis.sample_id) == (2, bench.samples[1].id)
    event = life(bench.season, bench.samples[1])[-1]
    assert (event.kind, event.occurred_at, event.by, event.data["line"]) == ("scanned", at(1290), "lena", "2")
    # The row and the file stay as they came; the decision stands beside them.
    assert kept(bench) == before
    assert parked(bench) == ()
    (answered,) = parked(bench, answered=True)
    assert answered.answer == "taken in: read from the run list"
    with bench.season.read() as session:
        answer = session.scalars(select(ParkedAnswer)).one()
    assert (answer.analysis_id, answer.by, answer.at) == (analysis.id, "lena", at(1450))


def test_a_cell_is_corrected_by_its_header_and_the_row_keeps_what_was_written(bench: Bench) -> None:
    one = waiting(bench, code=bench.codes[0], CP_pc_DM="l8.6")
    done(bench.season, lambda s: decided(s, one.id, bench.codes[0], corrected={"CP % DM": "18.6"}))
    assert str(attached(bench, bench.samples[0])[0]["CP"]) == "18.6"
    with bench.season.read() as session:
        assert "l8.6" in session.get_one(ParkedRow, one.id).cells
        assert b"l8.6" in session.scalars(select(ResultFile)).one().content


def test_a_row_of_the_laboratory_is_read_with_its_own_map(bench: Bench) -> None:
    taken_in(bench, wet_written([wet_row(bench.codes[0], CP="18O")]), source=WET)
    (one,) = parked(bench)
    corrected = {"CP g/kg as received": "180"}
    done(bench.season, lambda s: decided(s, one.id, bench.codes[0], corrected=corrected))
    assert life(bench.season, bench.samples[0])[-1].kind == "analysed outside"
    assert str(attached(bench, bench.samples[0])[0]["CP"]) == "180"


@pytest.mark.parametrize("corrected", [{}, {"CP % DM": "1B.6"}, {"ADF % DM": "30.0"}])
def test_a_row_that_is_still_wrong_is_refused_with_its_line(bench: Bench, corrected: dict[str, str]) -> None:
    one = waiting(bench, code=bench.codes[0], CP_pc_DM="l8.6")
    answer = refused(bench.season, lambda s: decided(s, one.id, bench.codes[0], corrected=corrected))
    assert (answer.code, answer.field, answer.line) == ("still-wrong", "CP % DM", 2)
    assert len(parked(bench)) == 1


def test_only_a_column_of_the_file_is_corrected(bench: Bench) -> None:
    one = waiting(bench)
    answer = refused(
        bench.season, lambda s: decided(s, one.id, bench.codes[0], corrected={"Protein": "18.6"})
    )
    assert (answer.code, answer.field) == ("no-such-column", "Protein")
    assert "CP % DM" in answer.remedy


@pytest.mark.parametrize("surplus", [True, False])
def test_a_row_with_a_cell_too_many_or_too_few_is_not_taken_in_as_it_stands(
    bench: Bench, surplus: bool
) -> None:
    # Which cell belongs under which header cannot be told: 18.6,31.0,40.0 may be CP, ADF, NDF or anything.
    cells = [bench.codes[0], "2026-06-21 06:30:00", "93.0", "18.6", "31.0", "40.0", "1.2"]
    cells = [*cells[:4], "19.0", *cells[4:]] if surplus else [*cells[:4], *cells[5:]]
    taken_in(bench, written([]) + ",".join(cells).encode() + b"\n")
    (one,) = parked(bench)
    answer = refused(bench.season, lambda s: decided(s, one.id, bench.codes[0]))
    assert (answer.code, answer.line) == ("still-wrong", 2)
    told = {"Scanned": "2026-06-21 06:30:00", "DM %": "93.0", "CP % DM": "18.6", "ADF % DM": "31.0"}
    told |= {"NDF % DM": "40.0", "GH": "1.2"}
    done(bench.season, lambda s: decided(s, one.id, bench.codes[0], corrected=told))
    assert [str(value) for value in attached(bench, bench.samples[0])[0].values()] == [
        "93.0",
        "18.6",
        "31.0",
        "40.0",
        "1.2",
    ]


@pytest.mark.parametrize("again", ["take in", "set aside"])
@pytest.mark.parametrize("first", ["take in", "set aside"])
def test_a_row_is_decided_once(bench: Bench, first: str, again: str) -> None:
    one = waiting(bench)
    steps = {
        "take in": lambda s: decided(s, one.id, bench.codes[0]),
        "set aside": lambda s: set_aside(s, one.id, act(s, "lena", 1450), reason="a blank"),
    }
    done(bench.season, steps[first])
    assert refused(bench.season, steps[again]).code == "parked-answered"


def test_a_row_set_aside_leaves_no_analysis(bench: Bench) -> None:
    one = waiting(bench, code="check sample")
    before = kept(bench)
    done(bench.season, lambda s: set_aside(s, one.id, act(s, "lena", 1450), reason=" our check sample "))
    (answered,) = parked(bench, answered=True)
    assert answered.answer == "set aside: our check sample"
    assert everything(bench.season)["analysis"] == []
    assert kept(bench) == before


@pytest.mark.parametrize("reason", ["", "  "])
def test_both_decisions_want_a_reason(bench: Bench, reason: str) -> None:
    one = waiting(bench)
    taking = refused(bench.season, lambda s: decided(s, one.id, bench.codes[0], reason=reason))
    aside = refused(bench.season, lambda s: set_aside(s, one.id, act(s, "lena", 1450), reason=reason))
    assert taking.code == aside.code == "reason-missing"


def test_a_row_that_nobody_parked_is_not_known(bench: Bench) -> None:
    assert refused(bench.season, lambda s: decided(s, 7, bench.codes[0])).code == "unknown-parked-row"
    assert (
        refused(bench.season, lambda s: set_aside(s, 7, act(s, "lena", 1450), reason="x")).code
        == "unknown-parked-row"
    )


def test_a_row_is_not_taken_in_for_a_void_or_unknown_code(bench: Bench) -> None:
    sample, old = bench.samples[0], bench.codes[0]
    fresh = done(bench.season, lambda s: make_tag(s, sample.lot_id))
    done(bench.season, lambda s: replace_tag(s, sample, fresh, act(s, "carl", 1280), reason="torn"))
    one = waiting(bench, code=old)
    assert refused(bench.season, lambda s: decided(s, one.id, old)).code == "tag-void"
    assert refused(bench.season, lambda s: decided(s, one.id, unknown_code(2))).code == "unknown-tag"
    done(bench.season, lambda s: decided(s, one.id, fresh))
    assert len(attached(bench, sample)) == 1


def test_the_sample_twice_in_a_file_is_taken_in_a_second_time_and_then_somebody_chooses(bench: Bench) -> None:
    code = bench.codes[0]
    taken_in(bench, written([row(code), row(code, CP_pc_DM="12.0")]))
    (one,) = parked(bench)
    done(bench.season, lambda s: decided(s, one.id, code))
    assert len(attached(bench, bench.samples[0])) == 2
    assert standing(bench.season, bench.samples[0]).on_hold
