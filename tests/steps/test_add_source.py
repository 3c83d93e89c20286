"""Taking in a source of results, and the next version of its column map."""

from __future__ import annotations

import json
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import act, done, refused
from tracker.files.column_map import load_column_map
from tracker.steps.add_source import add_source_map
from tracker.storage.analysis import Source, SourceMap
from tracker.storage.engine import Database

CP = {"header": "CP % DM", "constituent": "CP", "unit": "%", "basis": "dry matter"}
GOOD = {"sample": "Sample ID", "columns": [CP], "ignore": ["Operator"]}


def mapped(
    session: Session, name: str = "Bench 1", kind: str = "instrument", reason: str = "", **changes: Any
) -> SourceMap:
    written = json.dumps({**GOOD, **changes})
    return add_source_map(session, name, written, act(session, "ana", 0), kind=kind, reason=reason)


def versions(season: Database) -> list[tuple[int, str]]:
    with season.read() as session:
        rows = session.execute(select(SourceMap.version, SourceMap.reason).order_by(SourceMap.version))
        return [(version, reason) for version, reason in rows]


@pytest.mark.parametrize("kind", ["instrument", "laboratory"])
def test_the_first_map_makes_the_source(season: Database, kind: str) -> None:
    row = done(season, lambda s: mapped(s, " Bench  1", kind))
    with season.read() as session:
        source = session.scalars(select(Source)).one()
    assert (source.name, source.kind, row.source_id, row.version) == ("Bench 1", kind, source.id, 1)
    assert load_column_map(row.body) == load_column_map(GOOD)
    assert row.by == "ana"


def test_a_changed_map_is_the_next_version_and_the_first_stays(season: Database) -> None:
    first = done(season, mapped)
    row = done(season, lambda s: mapped(s, reason="a new column", ignore=["Operator", "Cup"]))
    assert (row.source_id, versions(season)) == (first.source_id, [(1, ""), (2, "a new column")])


def test_the_map_in_force_given_again_adds_nothing(season: Database) -> None:
    first = done(season, mapped)
    again = done(season, lambda s: mapped(s, reason="once more"))
    assert (again.id, versions(season)) == (first.id, [(1, "")])


def test_a_map_taken_back_is_a_version_of_its_own(season: Database) -> None:
    done(season, mapped)
    done(season, lambda s: mapped(s, ignore=[]))
    done(season, lambda s: mapped(s, reason="back to the first"))
    assert versions(season) == [(1, ""), (2, ""), (3, "back to the first")]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": " "}, "name-missing"),
        ({"kind": "guess"}, "not-a-source-kind"),
        ({"colour": "green"}, "column-map-invalid"),
        ({"columns": []}, "column-map-invalid"),
        ({"columns": [CP, CP]}, "header-mapped-twice"),
        ({"columns": [{**CP, "constituent": "sparkle"}]}, "unknown-constituent"),
        ({"columns": [{**CP, "unit": "mm"}]}, "unit-not-convertible"),
        ({"columns": [{**CP, "basis": "as received"}]}, "header-contradicts-map"),
    ],
)
def test_a_map_spoiled_in_one_field_makes_no_source(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    assert refused(season, lambda s: mapped(s, **changes), by="ana").code == code
