"""One lot from an empty folder to the bin, typed command by command; each answer is read in words and as JSON."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Terminal
from tests.cli.reading import text_of
from tests.makers import at
from tests.result_files import NIR, NIR_MAP, row, written


@pytest.fixture
def empty(at_season: Any, tmp_path: Path) -> Terminal:
    return at_season(tmp_path / "new.db")


def begin(terminal: Terminal) -> None:
    """A season, its people, a producer."""
    assert terminal.ask("init").endswith("new.db is ready.\n")
    assert terminal.ask("add-person", "tove", "Tove Lind", "technician") == "Tove Lind is tove.\n"
    terminal.ask("add-person", "carl", "Carl Otis", "clerk")
    terminal.ask("add-person", "ana", "Ana Field", "analyst")
    terminal.ask("add-person", "lena", "Lena Roy", "lead")
    assert terminal.ask("add-place", "store", "Store room", "--locked") == "Store room is store.\n"
    terminal.ask("add-carrier", "van", "Valley Van")
    assert terminal.ask("add-producer", "Oda Meadow", "--phone", "000 0142") == (
        "Oda Meadow is a producer now.\n"
    )


def at_the_stack(terminal: Terminal) -> str:
    """Registered, planned, cored, in a sealed bag; the bag's code."""
    said = terminal.act(
        *("tove", 0, "register-lot", "Oda Meadow", "Long field", 2, "--forage", "alfalfa"),
        *("--harvested", "2026-06-01", "--shape", "small square", "--bales", 118, "--bale-lb", 61),
    )
    assert said == "Lot 1: 118 bales.\n"
    said = terminal.act("tove", 5, "plan", 1, "--seed", 3, "--length-mm", 510)
    assert said.startswith("Plan version 1 of lot 1, seed 3.\n20 cores from the end, ")
    assert terminal.ask("coring-card", "lot 1", "--out", "card.pdf") == "The card is in card.pdf.\n"
    assert "Long field" in text_of("card.pdf")
    said = terminal.act("tove", 6, "print-tags", "--lot", 1, "--out", "tags.pdf")
    (code,) = re.findall(r"[0-9A-Z]{4}-[0-9A-Z]{4}", said)
    assert said == f"Run 1, 1 tag in tags.pdf: {code}.\nPrint it at 100 %, without scaling.\n"
    assert code in text_of("tags.pdf")
    assert terminal.act("tove", 60, "cored", "lot 1", "--started", at(40).isoformat()) == (
        "20 cores recorded.\n"
    )
    assert terminal.act("tove", 65, "bind", "lot 1", code.lower()) == f"Tag {code} is on the bag.\n"
    assert terminal.act("tove", 66, "seal", code, "S-004417") == "Seal S-004417 is on the bag.\n"
    return str(code)


def to_the_desk(terminal: Terminal, code: str) -> None:
    said = terminal.act("tove", 200, "hand-over", code, "carl")
    assert said.startswith(f"{code} is in transfer, on its way from Tove Lind to Carl Otis; it waits for ")
    assert terminal.ask_json("waiting")[0]["code"] == code
    said = terminal.act(
        *("carl", 240, "receive", code, "--condition", "dry", "--seal-state", "intact"),
        *("--seal-read", "S-004417"),
    )
    assert said.startswith(f"{code} is received, with Carl Otis; it waits for ")
    assert terminal.act("carl", 245, "break-seal", code, "S-004417").startswith(f"{code} is received")


def at_the_bench(terminal: Terminal, code: str) -> None:
    """250.0 g of hay in a sack of 18.6 g, 232.5 g after the oven."""
    terminal.act("carl", 250, "weigh", code, "tare", "18.6", "--balance", "B1")
    said = terminal.act("carl", 251, "weigh", code, "fresh", "268.6", "--balance", "B1")
    assert said.startswith(f"{code} is weighed, with Carl Otis; it waits for ")
    said = terminal.act("carl", 260, "oven-in", "L-1", code, "--oven", "Oven 1", "--celsius", 55)
    assert said.startswith("Load L-1: 1 sack in at 55 C.\n")
    assert terminal.ask("oven-sheet", "L-1", "--out", "sheet.pdf") == "The sheet is in sheet.pdf.\n"
    assert code in text_of("sheet.pdf")
    assert terminal.act("carl", 1220, "oven-out", "L-1").startswith("Load L-1 is out.\n")
    terminal.act("carl", 1240, "weigh", code, "dry", "251.1", "--balance", "B1")
    said = terminal.act("lena", 1245, "weigh", code, "dry-again", "251.1", "--balance", "B1")
    assert said.startswith(f"{code} is dried")
    assert terminal.act("ana", 1260, "grind", code, "coarse", "--dm", "92.4").startswith(
        f"{code} is coarse ground"
    )
    assert terminal.act("ana", 1270, "grind", code, "fine", "--dm", "92.4").startswith(f"{code} is ground")
    # By hand: 232.5 / 250.0 = 0.930.
    assert "93.0" in terminal.ask("dry-matter", code)


def analysed(terminal: Terminal, code: str) -> None:
    Path("nir.json").write_text(json.dumps(NIR_MAP), encoding="utf-8")
    Path("run.csv").write_bytes(written([row(code.replace("-", ""))]))
    said = terminal.act("ana", 1300, "add-source", NIR, "nir.json", "--reason", "begin")
    assert said == "bench NIR is read by version 1 of its column map.\n"
    said = terminal.act("ana", 1400, "import-analyses", NIR, "run.csv")
    assert said.startswith("1 row: 1 taken in, 0 parked. SHA-256 ")
    (one,) = terminal.ask_json("analyses", code)
    assert {value["constituent"]: value["value"] for value in one["values"]}["CP"] == "18.6"
    assert "CP 18.6 % dry matter" in terminal.ask("analyses", code)


def reported(terminal: Terminal, code: str) -> None:
    said = terminal.act("lena", 1500, "release", code)
    (number,) = re.fullmatch(r"Report (\S+) is issued\.\n", said).groups()  # type: ignore[union-attr]
    assert terminal.ask("report", code, "--out", "r.pdf") == f"Report {number} is in r.pdf.\n"
    assert number in text_of("r.pdf")
    assert terminal.ask("report", code, "--out", "r.json") == f"Report {number} is in r.json.\n"
    body = json.loads(Path("r.json").read_text(encoding="utf-8"))
    assert body == terminal.ask_json("report", code) == json.loads(terminal.ask("report", code))
    assert body == terminal.ask_json("report", number.lower())
    assert [one["dm"] for one in body["results"] if one["code"] == "CP"] == ["18.6"]


def test_one_lot_goes_from_an_empty_folder_to_the_bin(empty: Terminal) -> None:
    begin(empty)
    code = at_the_stack(empty)
    to_the_desk(empty, code)
    at_the_bench(empty, code)
    analysed(empty, code)
    reported(empty, code)
    said = empty.act("ana", 1600, "archive", code, "store")
    assert said.startswith(f"{code} is archived, with Store room")
    assert empty.act("ana", 9000, "dispose", code, "--method", "compost").startswith(f"{code} is disposed.")
    assert empty.ask_json("waiting") == []

    told = empty.ask("way", code)
    assert told.startswith("Lot 1, Oda Meadow, Long field, cutting 2.\n")
    assert "Nobody's keeping of it is in doubt." in told and "Remarks" not in told
    way = empty.ask_json("way", code)
    assert (way["state"], way["gaps"], way["holds"]) == ("disposed", [], [])
    assert [step["kind"] for step in way["events"]] == [
        *("plan issued", "cored", "bagged", "sealed", "relinquished", "received", "seal broken"),
        *("tare weighed", "fresh weighed", "oven in", "oven out", "dry weighed", "dry weighed again"),
        *("coarse ground", "fine ground", "scanned", "reported", "archived", "disposed"),
    ]
    assert [remark for step in way["events"] for remark in step["remarks"]] == []
    assert empty.ask_json("refusals") == []
