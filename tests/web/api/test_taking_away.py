"""What programs take away whole is what the pages give, and it goes out while it is read."""

from __future__ import annotations

import io
import json
import tracemalloc
import zipfile

import pytest
from sqlalchemy import insert

from tests.makers import at, done, make_lot
from tests.web.api.conftest import Program, ProgramAs
from tests.web.conftest import ClientAs
from tracker.lookups.exports import TABLES
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal

ROWS = 40_000


@pytest.fixture
def lead(season: Database, program_as: ProgramAs) -> Program:
    done(season, make_lot)
    done(season, lambda s: make_lot(s, field="Old field", harvested="2025-06-01"))
    return program_as("lena", "read")


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("season_asked", [{}, {"season": 2025}])
def test_a_table_is_the_same_file_as_at_the_page(
    lead: Program, client_as: ClientAs, name: str, season_asked: dict[str, int]
) -> None:
    page = client_as("lena").get(f"/exports/{name}.csv", query_string=season_asked)
    mine = lead.get(f"/exports/{name}.csv", **season_asked)
    assert (mine.status_code, mine.data) == (200, page.data)
    for header in ("Content-Type", "Content-Disposition", "Cache-Control"):
        assert mine.headers[header] == page.headers[header]


def test_workbook_map_and_season_come_too(lead: Program) -> None:
    book = lead.get("/exports/lots.xlsx")
    assert zipfile.ZipFile(io.BytesIO(book.data)).testzip() is None
    assert json.loads(lead.get("/exports/fields.geojson").data)["type"] == "FeatureCollection"
    season = zipfile.ZipFile(io.BytesIO(lead.get("/exports/season.zip", season=2025).data))
    assert season.read("lots.csv").count(b"\r\n") == 2, "a heading and the one lot of that year"


def test_the_list_of_tables_leads_to_each(lead: Program) -> None:
    for one in lead.get("/exports").json["items"]:
        assert one["words"]
        for address in (one["csv"], one["workbook"]):
            assert lead.get(address.removeprefix("/api/v1")).status_code == 200


@pytest.mark.parametrize("path", ["/exports/cows.csv", "/exports/cows.xlsx"])
def test_a_table_that_is_none_is_said_before_anything_is_sent(lead: Program, path: str) -> None:
    answer = lead.get(path)
    assert (answer.status_code, answer.json["code"]) == (404, "unknown-table")


def test_a_long_table_goes_out_in_less_memory_than_it_has(season: Database, lead: Program) -> None:
    row = {"at": at(0), "act": "weigh", "by": "carl", "given": {}, "message": "m", "remedy": "r"}
    with season.act("make", "carl", {}) as session:
        session.execute(insert(KeptRefusal), [{**row, "code": f"{n:0120}"} for n in range(ROWS)])
    lead.get("/exports/lots.csv")
    tracemalloc.start()
    answer = lead.http.get("/api/v1/exports/refusals.csv", headers=lead.headers, buffered=False)
    sent = sum(len(part) for part in answer.response)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert answer.is_streamed and sent > ROWS * 120
    assert most < sent / 3, f"{most} bytes at the most for {sent} sent"
