"""A sample's whole way, from the stack to the feeding answer, through the programs' door alone."""

from __future__ import annotations

import csv
import io
from base64 import b64encode
from typing import Any

import pytest

from tests.makers import SEAL, act, at, done
from tests.result_files import NIR, NIR_MAP, add_map, row, written
from tests.web.api.conftest import Program, ProgramAs
from tests.web.api.test_once import LOT
from tracker.steps.add_balance import add_balance
from tracker.storage.engine import Database


class Way:
    """The four people's programs, each at its minute of the makers' day."""

    def __init__(self, season: Database, program_as: ProgramAs) -> None:
        self.season = season
        self.people = {who: program_as(who) for who in ("tove", "carl", "ana", "lena")}

    def do(self, who: str, minute: float, path: str, body: dict[str, Any] | None = None) -> Any:
        self.season.clock = lambda: at(minute)
        answer = self.people[who].post(path, body)
        assert answer.status_code in (200, 201), answer.text
        return answer.json

    def ask(self, who: str, path: str, **query: Any) -> Any:
        answer = self.people[who].get(path, **query)
        assert answer.status_code == 200, answer.text
        return answer.json


def in_the_field(way: Way) -> str:
    """Registered, planned, cored, tagged, sealed and signed away by Tove; the tag's code."""
    (lot,) = way.do("tove", 0, "/lots", LOT)["lots"]
    plan = way.do("tove", 5, f"/lots/{lot['lot']}/plans", {"inside_mm": "15.9", "length_mm": "510"})
    assert way.ask("tove", f"/samples/lot {lot['lot']}/plan")["plan"] == plan["plan"]
    run = way.do("carl", 6, "/tag-runs", {"lots": [lot["lot"]]})
    way.do("tove", 60, f"/samples/lot {lot['lot']}/cores", {"started_at": at(40).isoformat()})
    (code,) = run["codes"]
    way.do("tove", 65, f"/samples/lot {lot['lot']}/tag", {"code": code})
    way.do("tove", 66, f"/samples/{code}/seal", {"seal": SEAL})
    way.do("tove", 200, f"/samples/{code}/hand-over", {"to": "carl"})
    return str(code)


def at_the_bench(way: Way, code: str) -> None:
    """Received, weighed, dried and ground."""
    way.do(
        "carl",
        240,
        f"/samples/{code}/receive",
        {"condition": ["dry"], "seal_state": "intact", "seal_read": SEAL},
    )
    way.do("carl", 241, f"/samples/{code}/break-seal", {"seal_read": SEAL})
    assert way.do("carl", 242, "/balances/B1/checks", {"zero": "0.0", "shown": "200.0"})["passed"]
    line = "ST,GS,+  18.6 g"
    assert way.do("carl", 243, "/balances/B1/lines", {"raw": line}) == {"grams": "18.6", "stable": True}
    weights = f"/samples/{code}/weighings"
    way.do("carl", 250, weights, {"what": "tare", "grams": "18.6", "balance": "B1", "raw": line})
    way.do("carl", 251, weights, {"what": "fresh", "grams": "268.6", "balance": "B1", "raw": "268.6 g"})
    load = {"name": "L-1", "samples": [code], "oven": "Oven 1", "set_celsius": "55"}
    told = way.do("carl", 260, "/loads", load)
    assert told["cautions"] and told["oven_load"]["sacks"][0]["fresh"] == "268.6"
    way.do("carl", 1220, "/loads/L-1/out")
    way.do("carl", 1235, "/balances/B1/checks", {"zero": "0.0", "shown": "200.0"})
    way.do("carl", 1240, weights, {"what": "dry", "grams": "251.1", "balance": "B1", "raw": "251.1 g"})
    way.do("ana", 1260, f"/samples/{code}/grinds", {"stage": "coarse", "mill": "M1"})
    way.do("ana", 1270, f"/samples/{code}/grinds", {"stage": "fine", "mill": "M1"})


def in_the_lab(way: Way, code: str) -> str:
    """Scanned and reported; the report's number."""
    file = {"source": NIR, "name": "run.csv", "content": b64encode(written([row(code)])).decode()}
    shown = way.do("ana", 1400, "/result-files/preview", file)
    assert (shown["taken"]["taken"], shown["taken"]["parked"]) == (1, 0)
    assert way.ask("ana", f"/samples/{code}/analyses")["items"] == [], "only looked at"
    assert way.do("ana", 1400, "/result-files", file)["taken"] == 1
    return str(way.do("lena", 1500, f"/samples/{code}/reports")["number"])


@pytest.fixture
def way(season: Database, program_as: ProgramAs) -> Way:
    balance = {"route": "serial", "profile": "any", "check_weight": "200.0", "limit": "0.2"}
    done(season, lambda s: add_balance(s, "B1", act(s, "lena", 0), **balance))
    done(season, lambda s: add_map(s, NIR, NIR_MAP))
    return Way(season, program_as)


def test_a_sample_goes_its_whole_way_and_its_numbers_come_out(way: Way) -> None:
    code = in_the_field(way)
    at_the_bench(way, code)
    number = in_the_lab(way, code)
    # By hand: 268.6 - 18.6 = 250.0 g fresh, 251.1 - 18.6 = 232.5 g dry; 232.5 / 250.0 = 93.0 %.
    assert way.ask("tove", f"/samples/{code}/dry-matter")["dry_matter"]["partial"] == "93.00"
    report = way.ask("tove", f"/reports/{number}")
    assert report == way.ask("tove", f"/samples/{code}/report", version=1)
    told = {one["constituent"]: one for one in way.ask("ana", "/results")["items"]}
    assert (told["CP"]["value"], told["CP"]["unit"], told["CP"]["code"]) == (
        "18.6",
        "%",
        code.replace("-", ""),
    )
    assert told["CP"]["margin"] is not None
    paper = way.people["tove"].get(f"/reports/{number}/pdf")
    assert (paper.mimetype, paper.data[:5]) == ("application/pdf", b"%PDF-")
    seen = way.ask("tove", f"/samples/{code}")
    assert seen["state"] == "reported" and seen["holder"] and len(seen["events"]) > 15
    fed = way.ask("tove", "/lots/1/feeding", kind="cow", weight_lb="1200", days_to_calving=60)
    assert fed["answer"]["verdict"] and "cautions" in fed["answer"]


def test_each_entry_says_which_program_made_it(way: Way) -> None:
    code = in_the_field(way)
    found = way.people["lena"].get("/exports/events.csv")
    assert found.content_type == "text/csv; charset=utf-8; header=present"
    devices = {line["device"] for line in csv.DictReader(io.StringIO(found.text)) if line["sample"]}
    assert devices and all(one.startswith("program ") for one in devices), code


def test_figures_lists_and_refusals_are_there_for_the_lead(way: Way) -> None:
    in_the_field(way)
    refused: Program = way.people["tove"]
    assert refused.post("/lots", LOT).json["code"] == "lot-known"
    (last,) = way.ask("lena", "/refusals")["items"]
    assert (last["code"], last["by"], last["given"]["field"]) == ("lot-known", "tove", "Long field")
    figures = [one for part in way.ask("lena", "/programme")["parts"] for one in part["figures"]]
    (key,) = (one["key"] for one in figures if one["key"].startswith("refused:") and one["value"] == "1")
    listing = way.ask("lena", f"/programme/{key}", season=2026)
    assert listing["heading"] and listing["items"]
    assert way.ask("tove", "/waiting")["items"][0]["waits_for"]
    assert way.ask("tove", "/search", words="long field")["lots"][0]["lot"] == 1
    assert "results" in [one["name"] for one in way.ask("lena", "/exports")["items"]]
