"""Holds, corrections and the choice between analyses at the door."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

from tests.makers import kinds, life, standing, weighed
from tests.result_files import Bench, attached, row, taken_in, written
from tests.web.lab.reading import hidden, words

AtBench = Callable[[str], FlaskClient]


def test_a_hold_and_its_end_lead_back_to_the_way(bench: Bench, at_bench: AtBench) -> None:
    carl, code = at_bench("carl"), bench.codes[0]
    answer = carl.post(f"/hold/{code}", data={"reason": "wet corner"})
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/way/{code}")
    assert "On hold: wet corner" in words(carl.get(f"/way/{code}").get_data(as_text=True))
    assert carl.post(f"/lift/{code}", data={"reason": "dry enough"}).status_code == 303
    assert kinds(bench.season, bench.samples[0])[-2:] == ["held", "hold lifted"]


@pytest.mark.parametrize("address", ["hold", "lift", "amend"])
def test_decisions_are_not_for_technicians(bench: Bench, at_bench: AtBench, address: str) -> None:
    answer = at_bench("tove").post(f"/{address}/{bench.codes[0]}", data={"reason": "x", "entry": "1"})
    assert answer.status_code == 403


def test_a_decision_without_a_reason_is_refused(bench: Bench, at_bench: AtBench) -> None:
    answer = at_bench("carl").post(f"/hold/{bench.codes[0]}", data={"reason": "", "back": "/way/x"})
    assert answer.status_code == 422 and 'href="/way/x"' in answer.get_data(as_text=True)


def test_an_entry_is_corrected_beside_what_it_said(bench: Bench, at_bench: AtBench) -> None:
    sample, code = bench.samples[0], bench.codes[0]
    (entry,) = [event.seq for event in life(bench.season, sample) if event.kind == "dry weighed"]
    form = {"entry": str(entry), "field": "grams", "value": "250.1", "reason": "misread"}
    answer = at_bench("carl").post(f"/amend/{code}", data=form)
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/way/{code}")
    assert [str(grams) for what, grams in weighed(bench.season, sample) if what == "dry"] == [
        "251.1",
        "250.1",
    ]


def test_an_entry_of_another_sample_is_not_corrected_from_here(bench: Bench, at_bench: AtBench) -> None:
    (entry,) = [event.seq for event in life(bench.season, bench.samples[1]) if event.kind == "dry weighed"]
    form = {"entry": str(entry), "field": "grams", "value": "250.1", "reason": "misread"}
    answer = at_bench("carl").post(f"/amend/{bench.codes[0]}", data=form)
    assert answer.status_code == 404 and "unknown-entry" in answer.get_data(as_text=True)


def test_a_form_that_says_what_it_saw_is_held_to_it(bench: Bench, at_bench: AtBench) -> None:
    answer = at_bench("carl").post(f"/hold/{bench.codes[0]}", data={"reason": "x", "seen": "1"})
    assert answer.status_code == 409 and not standing(bench.season, bench.samples[0]).on_hold


def test_of_two_analyses_somebody_says_which_stands_and_why(bench: Bench, at_bench: AtBench) -> None:
    sample, code = bench.samples[0], bench.codes[0]
    taken_in(bench, written([row(code)]), minute=1390)
    later = row(code, CP_pc_DM="17.9", Scanned="2026-06-21 07:00:00")
    taken_in(bench, written([later]), name="again.csv", minute=1395)
    ana = at_bench("ana")
    page = ana.get(f"/analyses/{code}").get_data(as_text=True)
    said = words(page)
    assert said.index("17.9") < said.index("18.6") and "again.csv, line 2" in said
    first = page.split("<option value=")[2][1:].split('"')[0]
    form = {"analysis": first, "reason": "the second cup was half empty", "seen": hidden(page, "seen")}
    assert ana.post(f"/analyses/{code}", data=form).status_code == 303
    assert [str(values["CP"]) for values in attached(bench, sample)] == ["18.6", "17.9"]
    after = words(ana.get(f"/analyses/{code}").get_data(as_text=True))
    assert "Chosen so far" in after and "Ana Field" in after and "half empty" in after
    assert not standing(bench.season, sample).on_hold
