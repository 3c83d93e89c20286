"""The example of docs/api.md, run as a program would be: against a server, over the network."""

from __future__ import annotations

import builtins
import importlib.util
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from threading import Thread
from typing import Any

import pandas
import pytest
from flask import Flask
from werkzeug.serving import make_server

from tests.makers import act, at, done, made, make_received
from tests.web.api.conftest import ProgramAs
from tracker.steps.add_balance import add_balance
from tracker.steps.check_balance import check_balance
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database

EXAMPLE = Path(__file__).parents[3] / "docs" / "examples" / "api_client.py"
ROW = {
    **dict.fromkeys(("report", "name", "qualifier", "method", "calibration", "source", "formula"), "x"),
    "sample": 1,
    "lot": 1,
    "code": None,
    "unit": "%",
    "scanned_at": None,
}


@pytest.fixture
def example() -> Any:
    spec = importlib.util.spec_from_file_location("api_client", EXAMPLE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def address(app: Flask) -> Iterator[str]:
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


@pytest.fixture
def code(season: Database) -> str:
    sample = made(season, make_received)
    done(
        season,
        lambda s: add_balance(
            s, "B1", act(s, "lena", 1), route="serial", profile="any", check_weight="200.0", limit="0.2"
        ),
    )
    done(season, lambda s: check_balance(s, "B1", Decimal("0.0"), Decimal("200.0"), act(s, "carl", 0)))
    with season.read() as session:
        return str(session.get_one(StandingRow, sample.id).code)


def test_it_pushes_a_reading_that_is_kept_with_its_line(
    example: Any, address: str, code: str, program_as: ProgramAs, season: Database, capsys: Any
) -> None:
    season.clock = lambda: at(250)
    program = program_as("carl", "intake", "read")
    office = example.Office(address, program.token)
    stands = example.push_reading(office, code, "tare", "18.60", "B1", "ST,GS,+   18.60 g")
    assert stands["remarks"] == [] and stands["state"] == "received"
    assert example.main([address, program.token, "weigh", code, "fresh", "268.60", "B1", "268.60 g"]) == 0
    assert "weighed" in capsys.readouterr().out
    dry_matter = program.get(f"/samples/{code}/dry-matter").json["dry_matter"]
    assert (dry_matter["tare_g"], dry_matter["fresh_g"]) == ("18.60", "268.60")


def test_what_the_office_refuses_is_said_with_what_to_do(
    example: Any, address: str, code: str, program_as: ProgramAs, capsys: Any
) -> None:
    token = program_as("carl", "intake").token
    assert example.main([address, token, "weigh", code, "fresh", "268.60", "B9"]) == 1
    assert "B9" in capsys.readouterr().err


def test_results_of_all_pages_come_into_a_table(example: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [
        {**ROW, "constituent": name, "value": "12.40", "margin": "0.5", "as_received": None} for name in "ABC"
    ]
    answers = iter([{"items": rows[:2], "next": "more"}, {"items": rows[2:], "next": None}])
    office = example.Office("http://nowhere", "")
    monkeypatch.setattr(office, "ask", lambda path, **query: next(answers))
    table = example.results(office)
    assert isinstance(table, pandas.DataFrame)
    assert list(table["constituent"]) == ["A", "B", "C"] and list(table["value"]) == [Decimal("12.40")] * 3


def test_where_there_is_no_pandas_the_rows_come_as_a_list(
    example: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "pandas":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    office = example.Office("http://nowhere", "")
    monkeypatch.setattr(office, "ask", lambda path, **query: {"items": [], "next": None})
    assert example.results(office) == []
