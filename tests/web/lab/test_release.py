"""Release at the door: a last look, a button with the deed, and the report as issued."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from flask.testing import FlaskClient

from tests.makers import everything, kinds
from tests.result_files import Bench, row, taken_in, unknown_code, written
from tests.web.lab.reading import hidden, words

AtBench = Callable[[str], FlaskClient]


@pytest.fixture
def code(bench: Bench) -> str:
    """A sample whose scan is in and waits for release."""
    taken_in(bench, written([row(bench.codes[0])]), minute=1390)
    return bench.codes[0]


def released(client: FlaskClient, code: str, **form: str) -> int:
    page = client.get(f"/release/{code}").get_data(as_text=True)
    return client.post(f"/release/{code}", data={"seen": hidden(page, "seen"), **form}).status_code


def test_the_look_changes_nothing_and_the_button_says_deed_number_and_to_whom(
    bench: Bench, at_bench: AtBench, code: str
) -> None:
    lena = at_bench("lena")
    before = everything(bench.season)
    page = lena.get(f"/release/{code}").get_data(as_text=True)
    assert everything(bench.season) == before
    assert "<button autofocus>Release 1 report, version 1, to Oda Meadow</button>" in page
    assert "crude protein" in words(page).lower() and "18.6" in page


def test_a_release_issues_the_report_and_staff_can_open_it(
    bench: Bench, at_bench: AtBench, code: str
) -> None:
    assert released(at_bench("lena"), code) == 303
    assert kinds(bench.season, bench.samples[0])[-1] == "reported"
    answer = at_bench("tove").get(f"/reports/R-{code}-v1.pdf")
    assert answer.status_code == 200 and answer.content_type == "application/pdf"
    assert (
        answer.get_data().startswith(b"%PDF-") and f"R-{code}-v1.pdf" in answer.headers["Content-Disposition"]
    )
    # The same body gives the same bytes.
    assert at_bench("lena").get(f"/reports/R-{code}-v1.pdf").get_data() == answer.get_data()


def test_a_next_version_needs_a_reason(bench: Bench, at_bench: AtBench, code: str) -> None:
    lena = at_bench("lena")
    released(lena, code)
    assert "version 2" in lena.get(f"/release/{code}").get_data(as_text=True)
    assert released(lena, code) == 422
    assert released(lena, code, reason="the producer's name was wrong") == 303
    assert lena.get(f"/reports/R-{code}-v2.pdf").status_code == 200


@pytest.mark.parametrize("key", ["carl", "tove"])
def test_a_clerk_and_a_technician_may_not_release(
    bench: Bench, at_bench: AtBench, code: str, key: str
) -> None:
    before = kinds(bench.season, bench.samples[0])
    client = at_bench(key)
    assert client.get(f"/release/{code}").status_code == 403
    assert client.post(f"/release/{code}", data={"seen": "1"}).status_code == 403
    assert kinds(bench.season, bench.samples[0]) == before


def test_a_look_from_yesterday_releases_nothing(bench: Bench, at_bench: AtBench, code: str) -> None:
    lena = at_bench("lena")
    page = lena.get(f"/release/{code}").get_data(as_text=True)
    taken_in(bench, written([row(code, Scanned="2026-06-21 07:00:00")]), name="again.csv", minute=1395)
    answer = lena.post(f"/release/{code}", data={"seen": hidden(page, "seen")})
    assert answer.status_code == 409 and "reported" not in kinds(bench.season, bench.samples[0])


def test_a_sample_on_hold_has_no_button(bench: Bench, at_bench: AtBench, code: str) -> None:
    at_bench("carl").post(f"/hold/{code}", data={"reason": "wrong lot?"})
    page = at_bench("lena").get(f"/release/{code}").get_data(as_text=True)
    assert "On hold: wrong lot?" in words(page) and "<button autofocus>Release" not in page


def test_an_unknown_report_is_not_found(at_bench: AtBench) -> None:
    assert at_bench("lena").get(f"/reports/R-{unknown_code(1)}-v1.pdf").status_code == 404
