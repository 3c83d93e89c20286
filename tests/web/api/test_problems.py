"""Every error is RFC 9457 (July 2023): its media type, its members, and a pointer (RFC 6901) to what is at fault."""

from __future__ import annotations

from typing import Any

import pytest

from tests.makers import act, at, done, made, make_out_of_oven, standing
from tests.web.api.conftest import ProgramAs
from tests.web.api.test_once import LOT
from tracker.steps.add_balance import add_balance
from tracker.storage.engine import Database


@pytest.mark.parametrize(
    ("changes", "pointers"),
    [
        ({"cutting": None}, ["/cutting"]),
        ({"cutting": "2"}, ["/cutting"]),
        ({"bale_mass": 61}, ["/bale_mass"]),
        ({"bale_mass": "61 lb"}, ["/bale_mass"]),
        ({"harvested": "1 June"}, ["/harvested"]),
        ({"forage": "straw"}, ["/forage"]),
        ({"field": "a\nb"}, ["/field"]),
        ({"field": "x" * 201}, ["/field"]),
        ({"at": "2026-06-14T09:10"}, ["/at"]),
        ({"role": "lead", "holder": "carl"}, ["/holder", "/role"]),
        ({"a/b~c": 1}, ["/a~1b~0c"]),
    ],
)
def test_what_is_not_as_described_is_pointed_to(
    program_as: ProgramAs, changes: dict[str, Any], pointers: list[str]
) -> None:
    answer = program_as("tove").post("/lots", {**LOT, **changes})
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    assert answer.json["code"] == "not-as-described"
    assert sorted(one["pointer"] for one in answer.json["errors"]) == pointers
    assert all(one["detail"] for one in answer.json["errors"])


def test_a_fault_within_a_list_is_pointed_to_by_its_place(program_as: ProgramAs) -> None:
    body = {"bales": [{"bale": 1, "cores": 1}, {"bale": 0, "cores": 1}]}
    answer = program_as("tove").post("/samples/lot 1/cores", body)
    assert [one["pointer"] for one in answer.json["errors"]] == ["/bales/1/bale"]


def test_a_weight_that_cannot_be_is_pointed_to_and_a_doubtful_one_is_held(
    season: Database, program_as: ProgramAs
) -> None:
    sample = made(season, make_out_of_oven)
    season.clock = lambda: at(1240)
    balance = {"route": "serial", "profile": "any", "check_weight": "200.0", "limit": "0.2"}
    done(season, lambda s: add_balance(s, "B1", act(s, "lena", 1230), **balance))
    code = standing(season, sample).code
    program = program_as("carl")
    program.post("/balances/B1/checks", {"zero": "0.0", "shown": "200.0"})

    def weighed(grams: str) -> Any:
        body = {"what": "dry", "grams": grams, "balance": "B1", "raw": f"{grams} g"}
        return program.post(f"/samples/{code}/weighings", body)

    # The empty sack weighs 18.6 g, the sack with fresh hay 268.6 g.
    answer = weighed("18.0")
    problem = answer.json
    assert (answer.status_code, problem["status"]) == (422, 422)
    assert [one["pointer"] for one in problem["errors"]] == ["/grams"]
    assert problem["remedy"] and problem["instance"] == f"/api/v1/samples/{code}/weighings"
    assert (problem["type"], problem["title"]) == ("about:blank", "Unprocessable Entity")
    assert "fresh" in " ".join(weighed("300.0").json["holds"]), "judged, not stopped"


@pytest.mark.parametrize(
    ("sent", "media", "status", "code"),
    [
        (b"{", "application/json", 400, "not-json"),
        (b"\xff", "application/json", 400, "not-json"),
        (b'{"a": NaN}', "application/json", 400, "not-json"),
        (b'{"field": "\\ud800"}', "application/json", 400, "not-json"),
        (b"[" * 100_000, "application/json", 400, "not-json"),
        (b"[]", "application/json", 422, "not-as-described"),
        (b"null", "application/json", 422, "not-as-described"),
        (b"{}", "text/plain", 415, "not-sent-as-json"),
        (b"{}", None, 415, "not-sent-as-json"),
        (b"x" * (20 * 1024 * 1024 + 1), "application/json", 413, "web-413"),
    ],
)
def test_a_body_that_is_none_is_refused(
    program_as: ProgramAs, sent: bytes, media: str | None, status: int, code: str
) -> None:
    program = program_as("tove")
    headers = {**program.headers, "Idempotency-Key": "a"}
    answer = program.http.post("/api/v1/lots", data=sent, content_type=media, headers=headers)
    assert (answer.status_code, answer.json["code"]) == (status, code)
    assert answer.mimetype == "application/problem+json" and answer.json["status"] == status


@pytest.mark.parametrize("path", ["/api/v1/nothing", "/api/v2/lots", "/api/"])
def test_where_nothing_is_is_said_as_a_problem_too(program_as: ProgramAs, path: str) -> None:
    answer = program_as("tove").http.get(path)
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"])
def test_another_method_is_told_which_there_are(program_as: ProgramAs, method: str) -> None:
    answer = program_as("tove").http.open("/api/v1/lots", method=method)
    assert (answer.status_code, answer.mimetype) == (405, "application/problem+json")
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD", "POST"}


def test_a_number_that_no_row_has_is_not_even_looked_up(program_as: ProgramAs) -> None:
    answer = program_as("tove").get(f"/lots/{2**70}")
    assert (answer.status_code, answer.json["code"]) == (404, "nothing-there")


def test_a_fault_of_ours_says_nothing_of_itself(
    program_as: ProgramAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = program_as("tove")
    program.http.application.config.update(TESTING=False, PROPAGATE_EXCEPTIONS=False)
    monkeypatch.setattr("tracker.web.api.asking.told", lambda *_: 1 / 0)
    answer = program.get("/lots")
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert "ZeroDivision" not in answer.text and answer.json["remedy"]
