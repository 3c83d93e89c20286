"""What the columns of one source's files mean."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import Refused
from tracker.files.column_map import ColumnMap, load_column_map
from tracker.files.table import Table
from tracker.files.table_file import read_table

CP = {"header": "CP % DM", "constituent": "CP", "unit": "%", "basis": "dry matter", "method": "NIR"}
NDF = {"header": "NDF", "constituent": "NDF", "unit": "g/kg", "basis": "as received", "calibration": "Hay 7"}


def make_map(**changes: Any) -> dict[str, Any]:
    plain = {"sample": "Sample ID", "scanned_at": "When", "columns": [CP, NDF], "ignore": ["Operator"]}
    return {**plain, **changes}


def refused(**changes: Any) -> Refused:
    with pytest.raises(Refused) as caught:
        load_column_map(make_map(**changes))
    assert caught.value.remedy
    return caught.value


def table(header: str) -> Table:
    return read_table("run.csv", f"{header}\n{'1' + ',1' * header.count(',')}\n".encode())


def test_a_map_is_read_and_kept_as_json() -> None:
    mapped = load_column_map(
        json.dumps(make_map(decimal=",", time_zone_offset="-05:00", instrument="Bench 2", repeat="Rep"))
    )
    assert isinstance(mapped, ColumnMap)
    assert mapped.columns[0].constituent == "CP" and mapped.columns[1].calibration == "Hay 7"
    assert (mapped.decimal, mapped.time_zone_offset, mapped.instrument) == (",", "-05:00", "Bench 2")
    assert mapped.headers() == ("Sample ID", "When", "Rep", "CP % DM", "NDF")
    assert load_column_map(mapped.as_json()) == mapped


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"colour": "green"}, "colour"),
        ({"sample": ""}, "sample"),
        ({"sample": None}, "sample"),
        ({"columns": []}, "columns"),
        ({"columns": [{**CP, "basis": "wet"}]}, "columns.0.basis"),
        ({"columns": [{**CP, "factor": 2}]}, "columns.0.factor"),
        ({"columns": [{k: v for k, v in CP.items() if k != "basis"}]}, "columns.0.basis"),
        ({"columns": [{k: v for k, v in CP.items() if k != "unit"}]}, "columns.0.unit"),
        ({"decimal": ";"}, "decimal"),
        ({"time_zone_offset": "CST"}, "time_zone_offset"),
        ({"time_zone_offset": "-5:00"}, "time_zone_offset"),
        ({"time_zone_offset": "-05:00\n"}, "time_zone_offset"),
    ],
)
def test_a_map_of_the_wrong_form_is_refused_by_the_entry(changes: dict[str, Any], field: str) -> None:
    found = refused(**changes)
    assert (found.code, found.field) == ("column-map-invalid", field)


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '{"sample": "a", "sample": "b"}', "[" * 100_000])
def test_text_that_is_no_map_is_refused(text: str) -> None:
    with pytest.raises(Refused) as caught:
        load_column_map(text)
    assert caught.value.code == "column-map-invalid"


def test_each_header_is_one_thing_only() -> None:
    assert refused(ignore=["sample id"]).code == "header-mapped-twice"
    assert refused(columns=[CP, CP]).code == "header-mapped-twice"


def test_a_constituent_must_be_known_and_its_unit_convertible() -> None:
    found = refused(columns=[{**CP, "constituent": "Protein"}])
    assert (found.code, found.field) == ("unknown-constituent", "CP % DM")
    assert refused(columns=[{**CP, "header": "CP", "unit": "furlong"}]).code == "unit-not-convertible"


@pytest.mark.parametrize(
    "changes",
    [
        {"header": "CP as rec."},
        {"header": "CP, as received"},
        {"header": "CP as fed"},
        {"header": "CP % AR"},
        {"header": "CP g/kg"},
        {"header": "CP ppm"},
        {"header": "CP mg/kg DM"},
        {"header": "CP % DM", "basis": "as received"},
        {"header": "CP % dry basis", "basis": "as received"},
        {"header": "NDF % DM"},
        {"header": "CP, as analysed"},
    ],
)
def test_a_header_whose_own_words_say_otherwise_is_refused(changes: dict[str, str]) -> None:
    assert refused(columns=[{**CP, **changes}]).code == "header-contradicts-map"


@pytest.mark.parametrize(
    "column",
    [
        {**CP, "header": "CP"},
        {**CP, "header": "Crude protein, %, DM"},
        {**CP, "header": "CP_g/kg_DM", "unit": "g/kg"},
        {**CP, "header": "Protein as fed", "basis": "as received"},
        {"header": "Dry matter %", "constituent": "DM", "unit": "%", "basis": "as received"},
        {"header": "DM", "constituent": "DM", "unit": "%", "basis": "as received"},
        {**CP, "header": "CP dark red"},
    ],
)
def test_a_header_that_agrees_or_says_nothing_is_accepted(column: dict[str, str]) -> None:
    assert load_column_map(make_map(columns=[column])).columns[0].header == column["header"]


def test_a_table_with_just_these_headers_fits_in_any_order() -> None:
    mapped = load_column_map(make_map())
    mapped.applies_to(table("NDF,Operator,CP % DM,When,Sample ID"))
    mapped.applies_to(table("NDF,CP % DM,When,Sample ID"))


def test_a_missing_header_and_an_unmapped_one_stop_the_file_by_name() -> None:
    with pytest.raises(Refused) as caught:
        load_column_map(make_map()).applies_to(table("Sample ID,When,CP % DM,NDF as is,Mystery"))
    assert caught.value.code == "file-format-differs"
    for name in ("lacks NDF", "NDF as is", "Mystery"):
        assert name in caught.value.message


def test_a_header_changed_only_in_case_is_a_changed_format() -> None:
    with pytest.raises(Refused, match="lacks NDF"):
        load_column_map(make_map()).applies_to(table("Sample ID,When,CP % DM,ndf"))


KEYS = st.sampled_from(["sample", "columns", "header", "unit", "x"])
PLAIN = st.none() | st.booleans() | st.integers() | st.text()


@given(st.recursive(PLAIN, lambda inner: st.lists(inner) | st.dictionaries(KEYS, inner)))
def test_any_json_is_a_map_or_refused(value: Any) -> None:
    with pytest.raises(Refused) as caught:
        load_column_map(json.dumps(value))
    assert caught.value.code == "column-map-invalid"
