"""Charts of check samples at the door, and freezing limits there."""

from __future__ import annotations

import re
from collections.abc import Callable

from flask.testing import FlaskClient

from tests.check_runs import CHECK, TWENTY, checks_in, frozen, readings, run_made
from tests.result_files import NIR, Bench, row, taken_in, written
from tests.web.lab.reading import words

AtBench = Callable[[str], FlaskClient]
OF_CP = {"source": NIR, "check_name": CHECK, "constituent": "CP"}


def test_without_readings_the_page_says_how_they_come(at_bench: AtBench) -> None:
    assert "No check sample came back yet" in words(at_bench("ana").get("/charts").get_data(as_text=True))


def test_nineteen_readings_are_drawn_and_cannot_be_frozen(bench: Bench, at_bench: AtBench) -> None:
    run_made(bench)
    checks_in(bench, TWENTY[:19])
    page = at_bench("ana").get("/charts").get_data(as_text=True)
    assert "No limits yet: 19 of 20 readings." in words(page) and "Freeze limits" not in page
    # DM, CP, ADF, NDF and GH each have a chart with a point for every reading.
    assert page.count("<svg") == 5 and page.count("<circle") == 5 * 19


def test_limits_are_frozen_with_a_reason_and_drawn_in_words(bench: Bench, at_bench: AtBench) -> None:
    run_made(bench)
    checks_in(bench)
    lena = at_bench("lena")
    assert lena.post("/charts", data={**OF_CP, "reason": ""}).status_code == 422
    assert lena.post("/charts", data={**OF_CP, "reason": "first twenty"}).status_code == 303
    page = lena.get("/charts").get_data(as_text=True)
    # 19.095 ± 2 and 3 times 2.29563: the published chart less 80.
    for line in ("mean: 19.095", "mean + 2 SD: 23.686", "mean - 2 SD: 14.504", "mean + 3 SD: 25.982"):
        assert line in page
    assert "Limits 1: mean 19.095000" in words(page) and "first twenty" in page
    assert "Freeze limits 2 of CP" in page


def test_readings_ticked_are_left_out(bench: Bench, at_bench: AtBench) -> None:
    run_made(bench)
    checks_in(bench, [*TWENTY, "29.0"])
    last = str(readings(bench)[-1].id)
    answer = at_bench("lena").post("/charts", data={**OF_CP, "reason": "dirty cup.", "left_out": [last]})
    assert answer.status_code == 303
    assert f"Left out: readings {last}." in at_bench("lena").get("/charts").get_data(as_text=True)


def test_a_reading_out_of_control_is_a_word_in_the_table(bench: Bench, at_bench: AtBench) -> None:
    frozen(bench)
    taken_in(bench, written([row(CHECK, CP_pc_DM="26.5")]), minute=1390)
    page = at_bench("ana").get("/charts").get_data(as_text=True)
    assert re.search(r'<span class="stop">out of control: 1-3s</span>', page)
