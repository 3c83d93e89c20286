"""An act is done once for its key, whoever sends it how often, and answered alike for ever."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import func, select

from tests.makers import everything, made, make_plan
from tests.web.api.conftest import Program, ProgramAs
from tracker.storage.clients import ApiAnswer
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Lot
from tracker.storage.people import Producer

LOT = {
    "producer": "Oda Meadow",
    "field": "Long field",
    "cutting": 2,
    "forage": "alfalfa",
    "harvested": "2026-06-01",
    "bale_shape": "small square",
    "bale_count": 118,
    "bale_mass": "61",
}


def test_the_same_key_and_body_get_the_first_answer_and_make_nothing_more(
    season: Database, program_as: ProgramAs
) -> None:
    program = program_as("tove")
    first = program.post("/lots", LOT, key="a")
    assert first.status_code == 201 and "Idempotent-Replayed" not in first.headers
    before = everything(season)
    again = program.post("/lots", LOT, key="a")
    assert (again.status_code, again.json) == (201, first.json)
    assert again.headers["Idempotent-Replayed"] == "true"
    assert everything(season) == before


def test_the_order_of_names_and_quotes_round_the_key_change_nothing(program_as: ProgramAs) -> None:
    program = program_as("tove")
    first = program.post("/lots", LOT, key="a")
    turned = dict(reversed(LOT.items()))
    again = program.http.post(
        "/api/v1/lots", json=turned, headers={**program.headers, "Idempotency-Key": "a"}
    )
    assert (again.status_code, again.json) == (201, first.json)


@pytest.mark.parametrize(("path", "body"), [("/lots", {**LOT, "cutting": 3}), ("/producers", {"name": "Ny"})])
def test_the_same_key_with_another_body_or_address_is_refused_and_does_nothing(
    season: Database, program_as: ProgramAs, path: str, body: dict[str, object]
) -> None:
    program = program_as("lena")
    program.post("/lots", LOT, key="a")
    other = program.post(path, body, key="a")
    assert (other.status_code, other.json["code"]) == (422, "key-used")
    with season.read() as session:
        assert session.scalar(select(func.count()).select_from(Lot)) == 1
        assert session.scalar(select(func.count()).select_from(Producer)) == 1


def test_a_key_is_each_programs_own(program_as: ProgramAs) -> None:
    one, two = program_as("tove"), program_as("tove")
    assert one.post("/lots", LOT, key="a").status_code == 201
    other = two.post("/lots", LOT, key="a")
    assert (other.status_code, other.json["code"]) == (409, "lot-known"), "not the other's answer"


def test_a_refusal_stands_as_the_answer_and_is_kept_once(season: Database, program_as: ProgramAs) -> None:
    program = program_as("tove")
    made(season, make_plan)
    first = program.post("/samples/lot 1/hand-over", {"to": "nobody"}, key="a")
    again = program.post("/samples/lot 1/hand-over", {"to": "nobody"}, key="a")
    assert (first.status_code, first.json["code"]) == (404, "unknown-party")
    assert (again.status_code, again.json) == (404, first.json)
    assert again.mimetype == "application/problem+json"
    with season.read() as session:
        assert session.scalars(select(KeptRefusal.code)).all() == ["unknown-party"]


def test_what_is_not_as_described_may_be_corrected_under_its_key(program_as: ProgramAs) -> None:
    program = program_as("tove")
    assert program.post("/lots", {**LOT, "cutting": "two"}, key="a").status_code == 422
    assert program.post("/lots", LOT, key="a").status_code == 201


@pytest.mark.parametrize("key", ["", '""', "a b", 'a"b', "x" * 101])
def test_an_act_without_a_key_is_not_done(season: Database, program_as: ProgramAs, key: str) -> None:
    program = program_as("tove")
    answer = program.http.post("/api/v1/lots", json=LOT, headers={**program.headers, "Idempotency-Key": key})
    assert (answer.status_code, answer.json["code"]) == (400, "key-missing")
    with season.read() as session:
        assert session.scalar(select(Lot.id)) is None


def test_eight_at_once_make_one_lot_and_are_answered_alike(season: Database, program_as: ProgramAs) -> None:
    program = program_as("tove")

    def send(_: int) -> tuple[int, object]:
        own = Program(program.http.application.test_client(), program.token, "")
        answer = own.post("/lots", LOT, key="a")
        return answer.status_code, answer.json

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(send, range(8)))
    assert answers == [answers[0]] * 8 and answers[0][0] == 201
    with season.read() as session:
        assert session.scalar(select(func.count()).select_from(Lot)) == 1
        assert session.scalar(select(func.count()).select_from(ApiAnswer)) == 1


def test_the_papers_secrets_are_in_the_first_answer_alone(season: Database, program_as: ProgramAs) -> None:
    program = program_as("carl", "office")
    first = program.post("/tag-runs", {"roll": 2}, key="a")
    again = program.post("/tag-runs", {"roll": 2}, key="a")
    assert first.status_code == 201 and len(first.json["codes"]) == 2
    assert first.json["paper"].startswith("JVBERi"), "a PDF"
    assert again.json == {**first.json, "paper": None}
