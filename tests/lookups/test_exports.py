"""What leaves the programme says the same as what stays in it."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from decimal import Decimal

import pytest
from openpyxl import load_workbook
from sqlalchemy import func, select

from tests.makers import at, make_lot
from tests.result_files import Bench, released, row, taken_in, written
from tracker.errors import NotFound
from tracker.files.out import csv_lines, write_xlsx
from tracker.lookups.exports import TABLES, Table, table_named
from tracker.lookups.exports.archive import map_of_fields, write_archive
from tracker.lookups.issued_reports import latest_version
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database

PLACE = (Decimal("39.10"), Decimal("-96.1"))


def rows(season: Database, name: str, year: int | None = None) -> list[dict[str, str]]:
    with season.read() as session:
        text = b"".join(csv_lines(table_named(name).lines(session, year))).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.fixture
def issued(bench: Bench) -> Bench:
    """The bench, with the results of its first sample released."""
    taken_in(bench, written([row(bench.codes[0])]))
    released(bench, bench.samples[0])
    return bench


def test_the_log_goes_out_whole_and_in_order(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session)
    with season.read() as session:
        count = session.scalar(select(func.count()).select_from(EventRow))
    found = rows(season, "events")
    assert [int(row["entry"]) for row in found] == list(range(1, (count or 0) + 1))
    assert json.loads(found[-1]["data"])["forage"] == "alfalfa"
    assert found[-1]["occurred_at"].endswith("-05:00") and found[-1]["recorded_at"].endswith("+00:00")


def test_a_season_takes_only_its_own_lots(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session)
        make_lot(session, field="Old field", harvested="2025-06-01")
    assert [row["season"] for row in rows(season, "lots")] == ["2026", "2025"]
    assert [row["season"] for row in rows(season, "lots", 2025)] == ["2025"]
    assert [row["name"] for row in rows(season, "fields", 2025)] == ["Old field"]
    assert len(rows(season, "producers", 2025)) == 1 and rows(season, "producers", 1999) == []


def test_digits_stay_as_they_were_given(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session, bale_mass="61.50", location=PLACE)
    assert rows(season, "lots")[0]["bale_mass"] == "61.50"
    assert rows(season, "fields")[0]["latitude"] == "39.10"


def test_the_map_puts_longitude_first_and_leaves_out_what_has_no_place(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session, location=PLACE)
        make_lot(session, field="Somewhere")
    with season.read() as session:
        text = b"".join(map_of_fields(session, None)).decode()
    found = json.loads(text, parse_float=str)
    (one,) = found["features"]
    assert (found["type"], one["geometry"]["coordinates"]) == ("FeatureCollection", ["-96.1", "39.10"])
    assert one["properties"] == {"field": "Long field", "producer": "Oda Meadow", "lots": 1}
    assert "crs" not in found


def test_released_numbers_are_those_of_the_latest_report(issued: Bench) -> None:
    with issued.season.read() as session:
        report = next(
            found
            for sample in session.scalars(select(Sample.id))
            if (found := latest_version(session, sample)) is not None
        )
    mine = [row for row in rows(issued.season, "results") if row["report"] == report.number]
    given = {row["code"]: row["dm"] for row in report.body["results"]}
    assert {row["constituent"]: row["value"] or None for row in mine if not row["formula"]} == given
    assert {row["constituent"] for row in mine if row["formula"]} == {
        row["code"] for row in report.body["derived"] if row["value"] is not None
    }
    (line,) = (row for row in rows(issued.season, "samples") if row["report"] == report.number)
    assert (line["CP"], line["total_dm"]) == (given["CP"], report.body["dry_matter"]["total"])
    assert any(row["report"] == "" for row in rows(issued.season, "samples"))


def test_the_archive_holds_every_table_and_proves_it(issued: Bench) -> None:
    target = io.BytesIO()
    with issued.season.read() as session:
        write_archive(session, 2026, at(0), target)
    archive = zipfile.ZipFile(target)
    sums = dict(reversed(line.split("  ")) for line in archive.read("SHA256SUMS").decode().splitlines())
    assert set(sums) == set(archive.namelist()) - {"SHA256SUMS"}
    assert all(hashlib.sha256(archive.read(name)).hexdigest() == sums[name] for name in sums)
    package = json.loads(archive.read("datapackage.json"))
    assert [one["name"] for one in package["resources"]] == list(TABLES)
    for one in package["resources"]:
        content = archive.read(one["path"])
        heading = content.decode().split("\r\n", 1)[0].split(",")
        assert heading == [field["name"] for field in one["schema"]["fields"]]
        assert (one["bytes"], one["hash"]) == (len(content), f"sha256:{sums[one['path']]}")


def test_a_workbook_holds_the_same_cells(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_lot(session, note="=1+1", bale_mass="61.50")
    target = io.BytesIO()
    with season.read() as session:
        write_xlsx({"lots": table_named("lots").lines(session)}, target)
    heading, line = load_workbook(target).active.iter_rows(values_only=True)  # type: ignore[union-attr]
    found = dict(zip(heading, line, strict=True))
    assert (found["bale_mass"], found["bale_count"], found["note"]) == (61.5, 118, "'=1+1")
    assert found["harvested"] == "2026-06-01"


@pytest.mark.parametrize("name", TABLES)
def test_every_column_says_what_it_is(name: str) -> None:
    table = TABLES[name]
    assert all(column.words and column.kind in KINDS for column in table.columns)
    assert len({column.name for column in table.columns}) == len(table.columns)


KINDS = ("text", "integer", "number", "date", "moment", "yes/no")


def test_a_row_that_does_not_fit_its_heading_is_a_fault(season: Database) -> None:
    lots = TABLES["lots"]
    wrong = Table("wrong", "", lots.columns, lambda session, year: iter([(1, 2)]))
    with season.read() as session, pytest.raises(ValueError, match="2 cells"):
        list(wrong.lines(session))


def test_a_table_that_is_none_is_refused_with_those_that_are() -> None:
    with pytest.raises(NotFound) as caught:
        table_named("cows")
    assert caught.value.code == "unknown-table" and "samples" in caught.value.remedy
