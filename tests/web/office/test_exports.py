"""What the lead takes away."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from tests.makers import make_lot
from tests.web.conftest import ClientAs
from tracker.errors import Unavailable
from tracker.storage.engine import Database
from tracker.web.shared import taken_away


def test_the_page_offers_every_table_of_the_season_chosen(season: Database, client_as: ClientAs) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session)
    page = client_as("lena").get("/exports?season=2026").get_data(True)
    assert "/exports/samples.csv?season=2026" in page and "/exports/season.zip?season=2026" in page
    assert "/exports/fields.geojson?season=2026" in page


def test_a_table_comes_as_a_file_with_its_kind_and_name(season: Database, client_as: ClientAs) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session)
    answer = client_as("lena").get("/exports/lots.csv?season=2026")
    assert answer.content_type == "text/csv; charset=utf-8; header=present"
    assert answer.headers["Content-Disposition"] == "attachment; filename=lots-2026.csv"
    assert answer.data.startswith(b"lot,field,season") and answer.data.count(b"\r\n") == 2
    book = client_as("lena").get("/exports/lots.xlsx", buffered=True)
    assert zipfile.is_zipfile(io.BytesIO(book.data))
    assert json.loads(client_as("lena").get("/exports/fields.geojson").data)["features"] == []
    assert (
        "lots.csv"
        in zipfile.ZipFile(
            io.BytesIO(client_as("lena").get("/exports/season.zip", buffered=True).data)
        ).namelist()
    )


def test_what_is_no_table_and_no_season_is_said(client_as: ClientAs) -> None:
    assert client_as("lena").get("/exports/cows.csv").status_code == 404
    answer = client_as("lena").get("/exports/lots.csv?season=soon")
    assert answer.status_code == 422 or answer.status_code == 400
    assert "soon" in answer.get_data(True)


def test_a_table_that_cannot_be_read_just_now_is_an_answer_and_not_a_broken_file(
    season: Database, client_as: ClientAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    lead = client_as("lena")

    @contextmanager
    def away() -> Iterator[None]:
        raise Unavailable("database-away", "The season does not answer.", remedy="Try again.")
        yield

    monkeypatch.setattr(taken_away, "reading", away)
    for path in ("/exports/lots.csv", "/exports/fields.geojson", "/exports/lots.xlsx", "/exports/season.zip"):
        answer = lead.get(path)
        assert (answer.status_code, "Retry-After" in answer.headers) == (503, True), path
