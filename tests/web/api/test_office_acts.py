"""What the office does, done by programs: links and stubs, lists, settings, papers, and the log's proofs."""

from __future__ import annotations

from base64 import b64decode, b64encode
from typing import Any

import pytest

from tests.makers import act, at, done, made, make_bag, make_plan, make_tag, standing
from tests.web.api.conftest import Program, ProgramAs
from tracker.steps.add_people import add_producer
from tracker.steps.issue_tags import issue_tags
from tracker.storage.engine import Database
from tracker.storage.people import party

LOTS = (
    b"producer,field,cutting,forage,harvested,bale_shape,bale_count\n"
    b"Oda Meadow,Hill,1,alfalfa,2026-06-01,round,40\n"
    b"Nobody Known,Dale,1,alfalfa,2026-06-01,round,40\n"
)


def said(answer: Any, status: int = 200) -> Any:
    assert answer.status_code == status, answer.text
    return answer.json


@pytest.fixture
def clerk(program_as: ProgramAs) -> Program:
    return program_as("carl")


@pytest.fixture
def lead(program_as: ProgramAs) -> Program:
    return program_as("lena")


@pytest.fixture
def code(season: Database) -> str:
    return str(standing(season, made(season, make_bag)).code)


def test_a_link_opens_the_results_until_it_is_taken_back(season: Database, clerk: Program, code: str) -> None:
    season.clock = lambda: at(300)
    body = {"name": "Adviser", "until": "2026-12-31"}
    made_link = said(clerk.post("/producers/1/links", body, key="k"), 201)
    again = said(clerk.post("/producers/1/links", body, key="k"), 201)
    assert again == {**made_link, "address": None}, "the address is a key, and is kept nowhere"
    path = "/T/" + made_link["address"].rsplit("/", 1)[1]
    # That it was opened is noted when the page is out.
    assert clerk.http.get(path, buffered=True).status_code == 200
    (link,) = said(clerk.get("/producers/1"))["links"]
    assert (link["number"], link["state"], link["opened"]["times"]) == (made_link["link"], "open", 1)
    said(clerk.post(f"/links/{link['number']}/take-back", {"reason": "at his wish"}))
    assert said(clerk.get("/producers/1"))["links"][0]["state"] == "taken back"
    assert clerk.http.get(path).status_code != 200


def test_a_link_at_one_producers_wish_opens_no_lot_of_another(
    season: Database, clerk: Program, code: str
) -> None:
    season.clock = lambda: at(300)
    with season.act("add", "lena", {}) as session:
        other = add_producer(session, name="Nils Farrow", now=at(0)).id
    body = {"name": "Adviser", "until": "2026-12-31", "lot": 1}
    assert clerk.post(f"/producers/{other}/links", body).json["code"] == "not-his-lot"
    assert said(clerk.get(f"/producers/{other}"))["links"] == []
    assert said(clerk.post("/producers/1/links", body), 201)["address"]


@pytest.mark.parametrize("named", ["{code}", "lot 1"])
def test_a_sack_label_is_asked_for_by_the_tag_or_the_lot(clerk: Program, code: str, named: str) -> None:
    answer = clerk.get(f"/samples/{named.format(code=code)}/sack-label")
    assert (answer.status_code, answer.data[:5]) == (200, b"%PDF-"), answer.text


def test_a_lot_without_a_bag_has_no_sack_label(season: Database, clerk: Program) -> None:
    made(season, make_plan)
    assert clerk.get("/samples/lot 1/sack-label").json["code"] == "no-tag-yet"


def test_a_stub_is_paused_resumed_revoked_and_printed_anew(
    season: Database, clerk: Program, code: str
) -> None:
    season.clock = lambda: at(300)
    because = {"reason": "lost at the fair"}
    found = [
        said(clerk.post(f"/tags/{code}/stub/{word}", because))["state"]
        for word in ("pause", "resume", "revoke")
    ]
    assert found == ["paused", "open", "revoked"]
    refused = clerk.post(f"/tags/{code}/stub/resume", because)
    assert (refused.status_code, refused.json["code"]) == (422, "stub-revoked")
    paper = said(clerk.post(f"/tags/{code}/reprint", because), 201)
    assert b64decode(paper["paper"]).startswith(b"%PDF") and len(paper["codes"]) == 1
    assert said(clerk.get(f"/tags/{code}/stub"))["state"] == "open"


def test_messages_are_wanted_and_stopped(clerk: Program) -> None:
    wanted = said(
        clerk.post("/producers/1/messages", {"address": "oda@hay.example", "how": "form of 3 June"})
    )
    assert (wanted["choice"], wanted["address"]) == ("wanted", "oda@hay.example")
    assert said(clerk.get("/producers/1"))["messages"] == "oda@hay.example"
    assert said(clerk.post("/producers/1/messages/stop", {"how": "called"}))["choice"] == "stopped"


def test_a_list_is_looked_at_line_by_line_and_then_taken_in(season: Database, clerk: Program) -> None:
    body = {"name": "lots.csv", "content": b64encode(LOTS).decode()}
    looked = said(clerk.post("/lists/lots/preview", body))
    assert (looked["new"], looked["known"], looked["refused"]) == (1, 0, 1)
    assert [(one["line"], one["code"]) for one in looked["lines"]] == [(2, None), (3, "unknown-producer")]
    assert looked["lines"][1]["remedy"] and said(clerk.get("/lots"))["items"] == []
    taken = said(clerk.post("/lists/lots", body))
    assert (taken["new"], taken["refused"]) == (1, 1)
    (lot,) = said(clerk.get("/lots"))["items"]
    assert taken["lines"][0]["made"] == str(lot["lot"]) and lot["field"] == "Hill"
    assert said(clerk.post("/lists/lots", body))["known"] == 1
    assert clerk.post("/lists/cows", body).json["code"] == "unknown-list"
    assert clerk.post("/lists/lots", {**body, "content": "abc"}).json["code"] == "not-base64"


def test_settings_are_set_with_a_reason_and_each_version_stays(lead: Program) -> None:
    rule = {"value": "72", "source": "own trials", "reason": "thick stems"}
    before = {one["name"]: one for one in said(lead.get("/settings", kind="rule", limit=500))["items"]}
    name = next(one for one in before if before[one]["unit"] == "h")
    assert said(lead.post(f"/settings/rule/{name}", rule))["version"] == 1
    after = {one["name"]: one for one in said(lead.get("/settings", kind="rule", limit=500))["items"]}
    assert (
        after[name]["value"] == "72"
        and after[name]["changes"][0]["reason"] == "thick stems (from own trials)"
    )
    oven = {"kind": "oven", "name": "Oven 1", "facts": "120 l, forced air", "reason": "bought"}
    assert said(lead.post("/equipment", oven), 201)["version"] == 1
    worn = {**oven, "facts": "120 l, fan worn", "reason": "noise"}
    assert said(lead.post("/equipment", worn), 201)["version"] == 2
    (kept,) = said(lead.get("/settings", kind="oven"))["items"]
    assert [one["version"] for one in kept["changes"]] == [2, 1]
    assert lead.post("/equipment", worn).json["code"] == "nothing-changed"
    balance = {"name": "B7", "route": "serial", "profile": "any", "check_weight": "200.0", "limit": "0.2"}
    assert said(lead.post("/balances", balance), 201)["checked"] is False
    assert (
        said(lead.post("/people", {"key": "mia", "name": "Mia Holt", "role": "analyst"}), 201)["kind"]
        == "person"
    )


def test_what_is_printed_comes_as_pdf(season: Database, clerk: Program, code: str) -> None:
    for path in (f"/samples/{code}/sack-label", f"/samples/{code}/card", "/test-page"):
        paper = clerk.get(path)
        assert (paper.status_code, paper.mimetype, paper.data[:4]) == (200, "application/pdf", b"%PDF"), path
    assert clerk.get("/test-page", stock="papyrus").status_code == 422
    spare = done(season, lambda s: make_tag(s))
    done(season, lambda s: issue_tags(s, 2, 1, 1, party(s, "tove"), act(s, "carl", 10)))
    sheet = said(clerk.post("/field-sheets", {"to": "tove"}), 201)
    assert [one.replace("-", "") for one in sheet["codes"]] == [spare]
    assert b64decode(sheet["paper"]).startswith(b"%PDF") and sheet["form"].startswith("F-")


def test_without_the_logs_key_nothing_is_signed_and_that_is_said(lead: Program, code: str) -> None:
    lead.http.application.extensions["season"].key_file = None
    assert said(lead.get("/log/keys")) == {"keys": []}
    refused = lead.post("/log/heads")
    assert (refused.status_code, refused.json["code"]) == (422, "log-key-missing")
    assert lead.get("/reports/R-1/proof").json["code"] == "no-report"


def test_the_hay_of_the_year_and_a_plan_say_what_they_rest_on(lead: Program) -> None:
    year = said(lead.get("/hay-of-year", season=2026, by="cutting"))
    assert (year["season"], year["by"], year["lots"], year["groups"]) == (2026, "cutting", 0, [])
    for path in ("/season-plans", "/season-plans/preview"):
        plan = lead.post(path, {"producer": "Oda Meadow", "first": "2026-12-01", "months": 2})
        assert plan.status_code == 422 and plan.json["remedy"]
        assert lead.post(path, {"producer": "Nobody", "first": "2026-12-01"}).status_code == 404
    assert said(lead.get("/season-plans"))["items"] == []
    assert lead.get("/season-plans/1").json["code"] == "unknown-kept-plan"
