"""Result files at the door: looked at first, then taken in as shown; parked rows answered."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.check_runs import CHECK, frozen
from tests.makers import act, at, done, everything, standing
from tests.result_files import NIR, Bench, attached, parked, row, taken_in, unknown_code, written
from tests.web.lab.reading import hidden, words
from tracker.steps.hold import hold
from tracker.web.lab import files

AtBench = Callable[[str], FlaskClient]
FORM = ("sha256", "name", "source", "sheet", "rows", "shown")


def tried(client: FlaskClient, content: bytes, *, source: str = NIR, name: str = "run.csv") -> TestResponse:
    return client.post(
        "/results",
        data={"source": source, "file": (io.BytesIO(content), name)},
        content_type="multipart/form-data",
    )


def held_before_the_scan(bench: Bench) -> None:
    """Somebody enters that the first sample was on hold since 1280; its scan at 1290 would be parked."""
    done(bench.season, lambda s: hold(s, bench.samples[0], act(s, "carl", 1280), reason="spilled"))


def confirmed(client: FlaskClient, page: TestResponse) -> TestResponse:
    html = page.get_data(as_text=True)
    return client.post("/results/take-in", data={name: hidden(html, name) for name in FORM})


def test_looking_at_a_file_writes_nothing_and_the_button_says_the_deed(
    bench: Bench, at_bench: AtBench
) -> None:
    ana = at_bench("ana")
    before = everything(bench.season)
    content = written([row(bench.codes[0]), row(bench.codes[1]), row(unknown_code(1))])
    page = tried(ana, content)
    assert page.status_code == 200
    now = everything(bench.season)
    # The file itself waits for a day beside the season's tables, for whichever server the button is pressed at.
    assert [kept[1] for kept in now.pop("upload")] == [content] and before.pop("upload") == []
    assert now == before
    html = page.get_data(as_text=True)
    assert "<button autofocus>Take in 2 rows, park 1</button>" in html
    said = words(html)
    assert "was printed here" in said and f"taken in for {bench.codes[0][:4]}-{bench.codes[0][4:]}" in said


def test_the_button_does_what_it_says(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    answer = confirmed(
        ana, tried(ana, written([row(bench.codes[0]), row(unknown_code(1))]), name="x/run 7.csv")
    )
    assert (answer.status_code, answer.headers["Location"]) == (303, "/results")
    page = words(ana.get("/results").get_data(as_text=True))
    assert "1 row taken in, 1 parked." in page and "Parked rows: 1" in page and "Waits for release: 1" in page
    assert parked(bench)[0].file == "run 7.csv"
    assert len(attached(bench, bench.samples[0])) == 1


def test_a_file_that_was_taken_in_before_offers_no_button(bench: Bench, at_bench: AtBench) -> None:
    content = written([row(bench.codes[0])])
    taken_in(bench, content, minute=1390)
    html = tried(at_bench("ana"), content).get_data(as_text=True)
    assert "taken in before" in html and "Take in" not in words(html)


def test_a_season_that_moved_on_since_the_look_is_not_written(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    page = tried(ana, written([row(bench.codes[0])]))
    held_before_the_scan(bench)
    before = everything(bench.season)
    answer = confirmed(ana, page)
    assert answer.status_code == 409 and "not-as-shown" in answer.get_data(as_text=True)
    assert everything(bench.season) == before


@pytest.mark.parametrize("digest", ["", "0" * 64, "../../etc/passwd", "e3b0" * 16])
def test_a_file_that_is_not_there_cannot_be_taken_in(at_bench: AtBench, digest: str) -> None:
    answer = at_bench("ana").post("/results/take-in", data={"sha256": digest, "source": NIR})
    assert answer.status_code == 422 and "upload-gone" in answer.get_data(as_text=True)


def test_no_file_and_a_wrong_file_are_refused_with_the_way_back(at_bench: AtBench) -> None:
    ana = at_bench("ana")
    none = ana.post("/results", data={"source": NIR, "back": "/results"}, content_type="multipart/form-data")
    assert none.status_code == 422 and "no-file" in none.get_data(as_text=True)
    assert 'href="/results"' in none.get_data(as_text=True)
    assert "file-format-differs" in tried(ana, b"a,b\n1,2\n").get_data(as_text=True)


def test_a_long_file_says_how_far_it_is_and_is_kept_at_the_end(
    bench: Bench, at_bench: AtBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "LONG", 3)
    ana = at_bench("ana")
    content = written([row(bench.codes[0]), row(unknown_code(1)), row(unknown_code(2)), row(unknown_code(3))])
    answer = confirmed(ana, tried(ana, content))
    said = words(answer.get_data(as_text=True))
    assert answer.status_code == 200
    assert re.findall(r"(\d) of 4 rows", said) == ["1", "2", "3", "4"]
    assert said.index("4 of 4 rows") < said.index("1 row taken in, 3 parked.")
    assert len(parked(bench)) == 3 and standing(bench.season, bench.samples[0]).state == "scanned"


def test_a_long_file_that_is_refused_says_so_and_leaves_nothing(
    bench: Bench, at_bench: AtBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "LONG", 1)
    ana = at_bench("ana")
    page = tried(ana, written([row(bench.codes[0])]))
    held_before_the_scan(bench)
    before = everything(bench.season)
    said = words(confirmed(ana, page).get_data(as_text=True))
    assert "not-as-shown" in said and "taken in, " not in said
    assert everything(bench.season) == before


def test_a_failed_check_is_said_before_and_after(bench: Bench, at_bench: AtBench) -> None:
    frozen(bench)
    ana = at_bench("ana")
    page = tried(ana, written([row(CHECK, CP_pc_DM="26.5"), row(bench.codes[0])]))
    assert "1 sample of this file would be put on hold" in words(page.get_data(as_text=True))
    confirmed(ana, page)
    after = ana.get("/results").get_data(as_text=True)
    assert re.search(r'class="told stop" role="alert">[^<]*out of control: 1 sample on hold', after)
    assert "Scanned and on hold: 1" in words(after)
    assert standing(bench.season, bench.samples[0]).on_hold


def test_a_parked_row_is_taken_in_with_a_corrected_cell(bench: Bench, at_bench: AtBench) -> None:
    taken_in(bench, written([row(bench.codes[0], CP_pc_DM="1860")]), minute=1390)
    (waits,) = parked(bench)
    ana = at_bench("ana")
    page = ana.get(f"/parked/{waits.id}").get_data(as_text=True)
    (cell,) = re.findall(r'name="(cell-\d)" value="1860"', page)
    form = {"code": bench.codes[0], "reason": "decimal mark lost", cell: "18.60"}
    answer = ana.post(f"/parked/{waits.id}/take-in", data=form)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/results")
    assert str(attached(bench, bench.samples[0])[0]["CP"]) == "18.60"
    assert "This row is decided" in words(ana.get(f"/parked/{waits.id}").get_data(as_text=True))


def test_a_parked_row_is_set_aside_with_a_reason(bench: Bench, at_bench: AtBench) -> None:
    taken_in(bench, written([row(unknown_code(1))]), minute=1390)
    (waits,) = parked(bench)
    ana = at_bench("ana")
    assert ana.post(f"/parked/{waits.id}/set-aside", data={"reason": " "}).status_code == 422
    assert ana.post(f"/parked/{waits.id}/set-aside", data={"reason": "a test scan"}).status_code == 303
    assert parked(bench, answered=True)[0].answer == "set aside: a test scan"
    assert ana.post(f"/parked/{waits.id}/set-aside", data={"reason": "again"}).status_code == 409


def test_of_a_row_with_too_few_cells_each_cell_is_told(bench: Bench, at_bench: AtBench) -> None:
    taken_in(bench, written([]) + f"{bench.codes[0]},2026-06-21 06:30:00\n".encode(), minute=1390)
    (waits,) = parked(bench)
    ana = at_bench("ana")
    page = ana.get(f"/parked/{waits.id}").get_data(as_text=True)
    assert "<details open>" in page
    told = dict(re.findall(r'name="(cell-\d)" value="([^"]*)"', page))
    # DM, CP, ADF, NDF and GH are the columns 2 to 6.
    told.update(
        dict(zip((f"cell-{n}" for n in range(2, 7)), ("93.0", "17.0", "31.0", "40.0", "1.0"), strict=True))
    )
    ana.post(
        f"/parked/{waits.id}/take-in", data={**told, "code": bench.codes[0], "reason": "from the screen"}
    )
    assert str(attached(bench, bench.samples[0])[0]["CP"]) == "17.0"


def test_a_number_too_long_for_any_parked_row_is_no_page(at_bench: AtBench) -> None:
    address = f"/parked/{'9' * 30}"
    ana = at_bench("ana")
    assert ana.get(address).status_code == 404
    assert ana.post(f"{address}/set-aside", data={"reason": "a test scan"}).status_code == 404


@pytest.mark.parametrize("address", ["/results", "/runs", "/charts", "/parked/1"])
def test_results_are_not_for_clerks(at_bench: AtBench, address: str) -> None:
    assert at_bench("carl").get(address).status_code == 403


def test_a_stranger_sees_nothing_of_it(bench: Bench, at_bench: AtBench) -> None:
    client = at_bench("ana")
    client.delete_cookie("tracker")
    assert client.get("/results").headers["Location"] == "/sign-in"
    assert bench.season.clock() == at(1400)
