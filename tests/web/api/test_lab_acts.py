"""Runs, limits, loads, batches of sacks, bundles and proofs, by programs."""

from __future__ import annotations

import csv
import io
import zipfile
from base64 import b64encode
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from tests.check_runs import CHECK, TWENTY, checks_in
from tests.makers import act, at, done, made, make_out_of_oven, make_received, standing
from tests.result_files import NIR, Bench, bench, bench_template, released, row, taken_in, written
from tests.season_makers import make_season
from tests.web.api.conftest import Program, make_program
from tests.web.api.test_office_acts import said
from tests.web.conftest import made_app
from tracker.files.key_file import KeyFile
from tracker.steps.add_balance import add_balance
from tracker.steps.check_balance import check_balance
from tracker.storage.engine import Database

__all__ = ["bench", "bench_template"]


@pytest.fixture
def lab(bench: Bench) -> Flask:
    return made_app(bench.season)


def test_a_run_is_made_and_its_blind_duplicates_are_told_to_the_lead_alone(bench: Bench, lab: Flask) -> None:
    analyst, lead = make_program(lab, "ana"), make_program(lab, "lena")
    body = {"source": NIR, "check_name": CHECK, "codes": list(bench.codes), "every": 2}
    # Whoever chose the seed could tell the blind duplicates by it.
    assert analyst.post("/runs", {**body, "seed": 7}).json["code"] == "not-as-described"
    run = said(analyst.post("/runs", body), 201)
    assert {one["kind"] for one in run["rows"]} == {"check", "sample"} and run["seed"] is None
    whole = said(lead.get(f"/runs/{run['name']}"))
    assert "blind duplicate" in {one["kind"] for one in whole["rows"]} and whole["seed"] >= 0
    assert [one["code"] for one in whole["rows"]] == [one["code"] for one in run["rows"]]
    (listed_run,) = said(analyst.get("/runs"))["items"]
    assert (listed_run["rows"], listed_run["seed"]) == (run["rows"], None)
    listed = analyst.get(f"/runs/{run['name']}/list", profile="bench")
    told = list(csv.DictReader(io.StringIO(listed.text)))
    assert [one["Code"] for one in told] == [one["code"] for one in run["rows"]]
    assert {one["What"] for one in told} == {"sample", "check sample"}
    assert said(analyst.get("/sources"))["items"][0]["checks"] == [CHECK]


def test_limits_are_frozen_from_twenty_readings_and_not_from_fewer(bench: Bench, lab: Flask) -> None:
    program = make_program(lab, "lena")
    body = {"source": NIR, "check_name": CHECK, "codes": list(bench.codes)}
    said(program.post("/runs", body), 201)
    limits = {"source": NIR, "check_name": CHECK, "constituent": "CP", "reason": "first twenty runs"}
    checks_in(bench, TWENTY[:19])
    refused = program.post("/check-limits", limits)
    assert (refused.status_code, refused.json["code"]) == (422, "too-few-runs")
    checks_in(bench, TWENTY[19:])
    frozen = said(program.post("/check-limits", limits), 201)
    # Mean as published, see tests/check_runs.py.
    assert (frozen["version"], frozen["n"], frozen["mean"]) == (1, 20, "19.095000")


def test_a_lot_goes_out_as_a_bundle_is_proven_and_taken_in_elsewhere(
    bench: Bench, lab: Flask, tmp_path: Path
) -> None:
    bench.season.key_file = KeyFile(tmp_path / "season.key")
    bench.season.key_file.make("hay.example")
    taken_in(bench, written([row(bench.codes[0])]))
    report = released(bench, bench.samples[0])
    program = make_program(lab, "lena")
    said(program.post("/log/heads"))
    (key,) = said(program.get("/log/keys"))["keys"]
    content = program.get("/lots/1/bundle").data
    assert "lot.json" in zipfile.ZipFile(io.BytesIO(content)).namelist()
    sent = {"content": b64encode(content).decode()}
    proven = said(program.post("/bundles/check", {**sent, "key": key}))
    assert (proven["lot"], proven["reports"], proven["trusted"]) == (1, [report.number], True)
    assert said(program.post("/bundles/check", sent))["trusted"] is None
    kept = said(program.post("/bundles", sent), 201)
    assert said(program.post("/bundles", sent), 201) == {**kept, "known": True}
    assert program.get(f"/bundles/{kept['number']}").data == content
    assert said(program.get("/bundles"))["items"][0]["reports"] == [report.number]
    spoilt = b64encode(content[:-40]).decode()
    assert program.post("/bundles/check", {"content": spoilt}).status_code == 422
    proof = program.get(f"/reports/{report.number}/proof")
    assert proof.status_code == 200 and proof.json["key"] == key
    (head, *_) = said(program.get("/log/heads"))["items"]
    assert key.split("+")[0] in head["note"]


def balance(season: Database, minute: float) -> None:
    facts = {"route": "serial", "profile": "any", "check_weight": "200.0", "limit": "0.2"}
    done(season, lambda s: add_balance(s, "B1", act(s, "lena", 0), **facts))
    done(season, lambda s: check_balance(s, "B1", Decimal("0.0"), Decimal("200.0"), act(s, "carl", minute)))


def test_a_load_is_closed_only_when_something_is_said_of_each_sack(season: Database, app: Flask) -> None:
    code = str(standing(season, made(season, make_out_of_oven)).code)
    season.clock = lambda: at(1240)
    program = make_program(app, "carl")
    (load,) = said(program.get("/loads"))["items"]
    assert (load["name"], load["unsettled"]) == ("L-1", [1])
    refused = program.post("/loads/L-1/close")
    assert (refused.status_code, refused.json["code"]) == (422, "load-has-gaps")
    assert program.get("/loads/L-1/sheet").data[:4] == b"%PDF"
    aside = said(program.post("/loads/L-1/set-aside", {"sample": code, "reason": "the sack tore"}))
    assert "the sack tore" in " ".join(aside["holds"])
    assert said(program.post("/loads/L-1/close")) == {"name": "L-1", "again": []}
    assert said(program.get("/loads"))["items"] == []


def test_a_lost_sack_is_said_of_its_load(season: Database, app: Flask) -> None:
    code = str(standing(season, made(season, make_out_of_oven)).code)
    season.clock = lambda: at(1240)
    program = make_program(app, "carl")
    lost = said(program.post("/loads/L-1/lost", {"sample": code, "reason": "fell into the sink"}))
    assert lost["state"] == "lost"
    assert said(program.post("/loads/L-1/close"))["name"] == "L-1"


def test_a_batch_of_sacks_serves_as_the_tare_of_the_next(season: Database, app: Flask) -> None:
    code = str(standing(season, made(season, make_received)).code)
    balance(season, 241)
    season.clock = lambda: at(245)
    program = make_program(app, "carl")

    def read(grams: str) -> dict[str, str]:
        return {"grams": grams, "raw": f"{grams} g"}

    few = program.post("/tare-batches", {"sacks": [read("18.6")], "balance": "B1"})
    assert (few.status_code, few.json["code"]) == (422, "too-few-tares")
    grams = [f"18.{digit}" for digit in "5566677565"]
    batch = said(program.post("/tare-batches", {"sacks": [read(one) for one in grams], "balance": "B1"}), 201)
    # By hand: 185.8 g over ten sacks.
    assert batch["grams"] == grams and float(batch["mean"]) == pytest.approx(18.58)
    fresh = {"what": "fresh", **read("268.6"), "balance": "B1", "batch": batch["batch"]}
    assert said(program.post(f"/samples/{code}/weighings", fresh))["state"] == "weighed"
    told: Any = said(program.get(f"/samples/{code}/dry-matter"))["dry_matter"]
    assert told["fresh_g"] == "268.6" and float(told["tare_g"]) == pytest.approx(18.58, abs=0.05)


def test_a_group_is_taken_off_and_no_longer_listed(season: Database, app: Flask) -> None:
    program: Program = make_program(app, "carl")
    name = {"producer": "Oda Meadow", "name": "old cows", "reason": "asked"}
    herd = {"kind": "cow", "head": "40", "weight_lb": "1200", "calving": "2027-03-01"}
    said(program.post("/groups", {**name, "values": herd}))
    assert len(said(program.get("/groups"))["items"]) == 1
    said(program.post("/groups/take-off", name))
    assert said(program.get("/groups"))["items"] == []


def test_a_season_plan_is_looked_at_kept_once_and_held_against_today(bench: Bench, lab: Flask) -> None:
    make_season(bench)
    bench.season.clock = lambda: at(1700)
    program = make_program(lab, "lena")
    asked = {"producer": "Oda Meadow", "first": "2026-12-01", "months": 1}
    looked = said(program.post("/season-plans/preview", asked))
    assert said(program.get("/season-plans"))["items"] == [] and looked["cautions"]
    kept = said(program.post("/season-plans", asked, key="k"), 201)
    assert {**looked, "number": kept["number"]} == kept
    assert said(program.post("/season-plans", asked, key="k"), 201) == kept
    (line,) = said(program.get("/season-plans"))["items"]
    assert (line["number"], line["asked"]["first"], line["by"]) == (kept["number"], "2026-12-01", "Lena Roy")
    whole = said(program.get(f"/season-plans/{kept['number']}"))
    assert whole["told"] == kept["plan"] and set(whole["rests_on"]) >= {"lot", "group", "feed"}
    assert program.get(f"/season-plans/{kept['number']}/pdf").data[:4] == b"%PDF"
    more = {
        "producer": "Oda Meadow",
        "name": "spring cows",
        "values": {"head": "91"},
        "reason": "bought more",
    }
    said(program.post("/groups", more))
    today = said(program.get(f"/season-plans/{kept['number']}/today"))
    assert ("group spring cows, head", "91") in {(one["what"], one["now"]) for one in today["inputs"]}
