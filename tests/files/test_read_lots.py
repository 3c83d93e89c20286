"""Lots from a table."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from tracker.errors import Refused
from tracker.files.lots_file import LotEntry, LotRow, read_lots
from tracker.files.out import write_csv
from tracker.files.table_file import read_table

GOOD = {
    "producer": "Ada Brandt",
    "field": "North 40",
    "cutting": "2",
    "forage": "brome",
    "harvested": "2026-06-14",
    "bale_shape": "Large Square",
    "bale_count": "120",
    "bale_mass_lb": "1100",
    "storage": "barn",
    "location": "39.1, -96.1",
    "note": "rained on once",
}


def rows_of(*lots: dict[str, str]) -> tuple[LotRow, ...]:
    lines = [",".join(GOOD)] + [",".join(f'"{lot.get(name, "")}"' for name in GOOD) for lot in lots]
    return read_lots(read_table("lots.csv", "\n".join(lines).encode()))


def spoiled(**changes: str) -> tuple[str, str, str]:
    (row,) = rows_of({**GOOD, **changes})
    assert row.entry is None and row.line == 2
    (problem,) = row.problems
    return problem.code, problem.field, problem.suggestion


def test_a_good_row_is_a_lot() -> None:
    (row,) = rows_of(GOOD)
    assert row.problems == ()
    assert row.entry == LotEntry(
        producer="Ada Brandt",
        field="North 40",
        cutting=2,
        forage="brome",
        harvested=date(2026, 6, 14),
        bale_shape="large square",
        bale_count=120,
        bale_mass_lb=Decimal(1100),
        storage="barn",
        location=(Decimal("39.1"), Decimal("-96.1")),
        note="rained on once",
    )


def test_what_is_optional_may_be_left_empty() -> None:
    needed = {name: GOOD[name] for name in list(GOOD)[:7]}
    (row,) = rows_of(needed)
    assert row.entry is not None
    assert (row.entry.bale_mass_lb, row.entry.location, row.entry.note) == (None, None, "")


@pytest.mark.parametrize("name", list(GOOD)[:7])
def test_each_needed_cell_is_missed_when_it_is_empty(name: str) -> None:
    assert spoiled(**{name: " "})[:2] == ("cell-empty", name)


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("cutting", "second", "not-a-count"),
        ("cutting", "0", "not-a-count"),
        ("cutting", "13", "not-a-cutting"),
        ("harvested", "6/14/2026", "not-a-date"),
        ("harvested", "2026-02-30", "not-a-date"),
        ("bale_shape", "big", "unknown-bale-shape"),
        ("bale_count", "0", "not-a-count"),
        ("bale_count", "12.5", "not-a-count"),
        ("bale_mass_lb", "1,100", "not-a-number"),
        ("bale_mass_lb", "0", "not-positive"),
        ("location", "39.1", "not-a-place"),
        ("location", "99, 200", "not-a-place"),
        ("note", "x" * 1001, "cell-too-long"),
        ("note", "=1+1", "formula-cell"),
    ],
)
def test_each_cell_that_cannot_be_is_complained_of_by_name(name: str, text: str, code: str) -> None:
    found, field, suggestion = spoiled(**{name: text})
    assert found == code
    assert field == ("" if code == "formula-cell" else name)
    assert suggestion


def test_a_swapped_place_is_offered_the_right_way_round() -> None:
    assert spoiled(location="-96.1, 39.1")[2] == "Latitude comes first: 39.1, -96.1."


def test_every_complaint_of_a_row_is_made_at_once_and_good_rows_stay_good() -> None:
    bad, good = rows_of({**GOOD, "cutting": "x", "bale_count": "y"}, GOOD)
    assert {problem.field for problem in bad.problems} == {"cutting", "bale_count"}
    assert (bad.line, good.line) == (2, 3)
    assert good.entry is not None


def make_table(**changes: str) -> bytes:
    lot = {**{name: GOOD[name] for name in list(GOOD)[:7]}, **changes}
    return write_csv([list(lot), list(lot.values())])


def test_a_mass_in_kilograms_becomes_pounds() -> None:
    # 500 kg / 0.45359237 kg per lb (1959 agreement) = 1102.3 lb.
    (row,) = read_lots(read_table("lots.csv", make_table(bale_mass_kg="500")))
    assert row.entry is not None and row.entry.bale_mass_lb == Decimal("1102.3")


def test_two_masses_for_one_bale_are_not_weighed_against_each_other() -> None:
    (row,) = read_lots(read_table("lots.csv", make_table(bale_mass_kg="500", bale_mass_lb="1100")))
    assert row.problems[0].code == "two-bale-masses"


def test_headers_may_be_written_with_spaces_and_capitals() -> None:
    data = make_table().replace(b"bale_shape", b"Bale shape").replace(b"producer", b"PRODUCER")
    assert read_lots(read_table("lots.csv", data))[0].entry is not None


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (make_table(colour="green"), "columns-unknown"),
        (make_table(**{"Bale shape": "round"}), "columns-unknown"),
        (make_table().replace(b"cutting", b"cut", 1), "columns-missing"),
    ],
)
def test_a_table_that_is_no_list_of_lots_is_refused(data: bytes, code: str) -> None:
    with pytest.raises(Refused) as caught:
        read_lots(read_table("lots.csv", data))
    assert caught.value.code == code
