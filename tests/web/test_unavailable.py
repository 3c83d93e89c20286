"""A season that is full, away or out of reach: pages say so, are to be asked again later, and go on by themselves."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.conftest import build_season
from tests.databases import begin_cluster
from tests.disks import allow_pages
from tests.makers import at, everything
from tests.phones import LOT, Phone
from tests.result_files import NIR, NIR_MAP, add_map, row, unknown_code, written
from tests.web.conftest import made_app, sign_in_as
from tracker.storage.engine import Database

# Large enough to lie on the server's disk while it is taken in (werkzeug keeps half a megabyte in memory).
# A device that has no room for anything.
FULL = Path("/dev/full")
LARGE = b"Sample,DM %\n" + b"7K2M9QXQ,93.0\n" * 60_000


# What an upload was laid in goes when its request does, and nobody closes it before.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


@pytest.fixture
def ana(app: Flask, season: Database) -> FlaskClient:
    with season.act("map", "ana", {}) as session:
        add_map(session, NIR, NIR_MAP)
    return sign_in_as(app, "ana")


def said_to_come_back(answer: TestResponse, *words: str) -> None:
    """503 with a sentence, and when to try again; nothing of the inside."""
    page = answer.get_data(as_text=True)
    assert answer.status_code == 503 and int(answer.headers["Retry-After"]) > 0
    for one in (*words, "Nothing was recorded"):
        assert one in page, page
    assert "Traceback" not in page and "season.db" not in page and "socket" not in page


def full(season: Database) -> None:
    """Not one page more."""
    with season.engine.connect() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar_one()
    allow_pages(season, pages)


def sent(client: FlaskClient, content: bytes) -> TestResponse:
    form = {"source": NIR, "file": (io.BytesIO(content), "run.csv")}
    return client.post("/results", data=form, content_type="multipart/form-data")


def entered(tove: FlaskClient, lots: int = 1) -> TestResponse:
    """What a phone is answered that sends new lots."""
    phone = Phone()
    entries = (phone.entry("register lot", 10, {**LOT, "field": f"Field {n}"}) for n in range(lots))
    return tove.post("/field/entries", json=phone.body(300, *entries))


def test_on_a_full_disk_an_upload_is_refused_in_words_and_nothing_of_it_is_there(
    season: Database, ana: FlaskClient
) -> None:
    full(season)
    before = everything(season)
    content = written(row(unknown_code(number)) for number in range(300))
    said_to_come_back(sent(ana, content), "its disk is full", "Make room")
    assert everything(season) == before


def test_on_a_full_disk_every_question_is_answered(app: Flask, season: Database) -> None:
    lead = sign_in_as(app, "lena")
    full(season)
    addresses = [
        rule.rule for rule in app.url_map.iter_rules() if "GET" in rule.methods and not rule.arguments
    ]
    assert len(addresses) > 40
    answers = {address: lead.get(address).status_code for address in addresses}
    assert {address: status for address, status in answers.items() if status >= 500} == {}


@pytest.mark.skipif(not FULL.exists(), reason="no device here that is always full")
def test_where_the_disk_that_takes_uploads_in_is_full_it_is_said(
    ana: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "TemporaryFile", lambda *_, **__: FULL.open("w+b"))
    said_to_come_back(sent(ana, LARGE), "disk is full", "Make room")
    assert sent(ana, b"Sample\n").status_code != 503


def test_a_program_is_told_in_its_own_form(app: Flask, season: Database) -> None:
    tove = sign_in_as(app, "tove")
    season.clock = lambda: at(300)
    full(season)
    answer = entered(tove, 40)
    assert (answer.status_code, answer.get_json()["code"]) == (503, "disk-full")
    assert answer.headers["Retry-After"]


def test_a_season_whose_file_is_away_is_said_to_be_and_comes_back_with_it(
    app: Flask, season: Database, ana: FlaskClient, tmp_path: Path
) -> None:
    assert season.file is not None and ana.get("/").status_code == 200
    elsewhere = season.file.rename(tmp_path / "elsewhere.db")
    said_to_come_back(ana.get("/"), "its file is not where it was")
    assert ana.get("/ready").status_code == 503
    # A watcher has no sign-in that would be looked up.
    assert app.test_client().get("/health").status_code == 200
    elsewhere.rename(season.file)
    assert ana.get("/").status_code == ana.get("/ready").status_code == 200


def test_a_database_server_that_went_away_is_found_again_without_a_new_start() -> None:
    cluster = begin_cluster(durable=True)
    season = Database(cluster.template("away", build_season), clock=lambda: at(0))
    try:
        app = made_app(season)
        season.clock = lambda: at(300)
        tove, watcher = sign_in_as(app, "tove"), app.test_client()
        assert tove.get("/").status_code == watcher.get("/ready").status_code == 200
        for how in ("fast", "immediate"):
            cluster.stop(how)
            said_to_come_back(tove.get("/"), "does not answer")
            said_to_come_back(watcher.get("/T/7K2M9QXQ"), "does not answer")
            phone = entered(tove)
            assert (phone.status_code, phone.get_json()["code"]) == (503, "database-away")
            assert (watcher.get("/ready").status_code, watcher.get("/health").status_code) == (503, 200)
            cluster.start()
            assert tove.get("/").status_code == watcher.get("/ready").status_code == 200
        assert everything(season)["lot"] == []
        assert entered(tove).get_json()["answers"][0]["answer"] == "accepted"
        assert len(everything(season)["lot"]) == 1
    finally:
        season.close()
        cluster.end()
