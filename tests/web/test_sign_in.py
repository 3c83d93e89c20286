"""Signing in and out at the door: the cookie, the way on, wrong tries, links, and what is not told."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import func, select

from tests.makers import at, done
from tests.web.conftest import made_app, sign_in_as
from tracker.steps import sign_in as step
from tracker.steps.sign_in import make_account, make_reset, secret_hash, set_active, use_link
from tracker.storage.access import Attempt, SignedIn
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal

PASSWORD = "nine green gates"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(step, "HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


@pytest.fixture
def clock(season: Database) -> Iterator[dict[str, datetime]]:
    """The office's clock, to be set."""
    hands = {"now": at(0)}
    season.clock = lambda: hands["now"]
    yield hands


@pytest.fixture
def carl(season: Database) -> str:
    """Carl, who has a password."""
    token = done(season, lambda s: make_account(s, "carl", "lena", season.clock()))
    done(season, lambda s: use_link(s, token, PASSWORD, season.clock()))
    return "carl"


def try_in(client: FlaskClient, name: str = "carl", password: str = PASSWORD, **more: Any) -> Any:
    return client.post("/sign-in", data={"name": name, "password": password}, **more)


def count(season: Database, what: Any) -> int:
    with season.read() as session:
        return session.scalar(select(func.count()).select_from(what)) or 0


def cookies(answer: Any) -> dict[str, str]:
    return {one.split("=", 1)[0]: one for one in answer.headers.getlist("Set-Cookie")}


def test_a_right_password_leads_in_with_a_cookie_of_this_host_alone(client: FlaskClient, carl: str) -> None:
    answer = try_in(client)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    cookie = cookies(answer)["__Host-tracker"]
    parts = [part.strip() for part in cookie.split(";")]
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax", "Max-Age=43200"} <= set(parts)
    assert not any(part.startswith("Domain") for part in parts)
    assert "Carl Otis, clerk" in client.get("/").text


def test_at_an_http_address_the_cookie_works_without_being_secure(season: Database, carl: str) -> None:
    client = made_app(season, base_url="http://192.0.2.7:8000").test_client()
    cookie = cookies(try_in(client))["tracker"]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie and "Secure" not in cookie
    assert client.get("/").status_code == 200


def test_the_forms_cookie_is_as_guarded_as_the_sign_ins(app_strict: Flask, season: Database) -> None:
    secure = cookies(app_strict.test_client().get("/sign-in"))["__Host-form"]
    assert all(word in secure for word in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"))
    plain = made_app(season, base_url="http://192.0.2.7:8000", strict=True).test_client().get("/sign-in")
    assert "HttpOnly" in cookies(plain)["form"] and "Secure" not in cookies(plain)["form"]


def test_the_token_is_in_the_cookie_and_only_its_hash_in_the_season(
    client: FlaskClient, carl: str, season: Database
) -> None:
    token = cookies(try_in(client))["__Host-tracker"].split(";")[0].split("=", 1)[1]
    with season.read() as session:
        assert session.scalars(select(SignedIn.token_hash)).all() == [secret_hash(token)]


def test_every_sign_in_has_a_token_of_its_own_and_ends_the_one_before_on_this_device(
    client: FlaskClient, carl: str, season: Database
) -> None:
    first = cookies(try_in(client))["__Host-tracker"]
    second = cookies(try_in(client))["__Host-tracker"]
    assert first != second
    with season.read() as session:
        ended = session.scalars(select(SignedIn.ended_at).order_by(SignedIn.id)).all()
    assert ended[0] is not None and ended[1] is None


def test_a_token_put_there_before_is_not_taken_over(client: FlaskClient, carl: str) -> None:
    client.set_cookie("__Host-tracker", "planted-by-somebody-else")
    answer = try_in(client)
    assert "planted" not in cookies(answer)["__Host-tracker"]
    assert client.get("/").status_code == 200


def test_the_way_on_is_where_the_person_wanted_to_go(client: FlaskClient, carl: str) -> None:
    assert client.get("/find?text=7K3M-9QTX").headers["Location"] == "/sign-in"
    assert try_in(client).headers["Location"] == "/find?text=7K3M-9QTX"
    assert try_in(client).headers["Location"] == "/", "it is used once"


@pytest.mark.parametrize(
    "then",
    [
        "//elsewhere.example/",
        "/\\elsewhere.example/",
        "https://elsewhere.example/",
        "javascript:alert(1)",
        "/\t/elsewhere.example",
        "elsewhere",
        "",
    ],
)
def test_no_other_host_is_ever_the_way_on(client: FlaskClient, carl: str, then: str) -> None:
    with client.session_transaction() as session:
        session["then"] = then
    assert try_in(client).headers["Location"] == "/"


@pytest.mark.parametrize(
    "back", ["//elsewhere.example/", "/\\elsewhere.example", "https://elsewhere.example"]
)
def test_no_other_host_is_the_way_back_from_a_refusal(client: FlaskClient, carl: str, back: str) -> None:
    answer = client.post("/sign-in", data={"name": "carl", "password": "wrong", "back": back})
    assert answer.status_code == 422 and "elsewhere" not in answer.text


@pytest.mark.parametrize(
    ("name", "password"), [("carl", "wrong word"), ("nobody", PASSWORD), ("ana", PASSWORD), ("", "")]
)
def test_a_wrong_name_and_a_wrong_password_look_the_same(
    client: FlaskClient, carl: str, season: Database, name: str, password: str
) -> None:
    done(season, lambda s: make_account(s, "ana", "lena", season.clock()))
    answer = try_in(client, name, password)
    assert answer.status_code == 422
    assert "Name and password do not go together." in answer.text
    assert "__Host-tracker" not in cookies(answer)
    assert name not in answer.text or not name


def test_what_was_typed_into_either_box_is_not_kept(client: FlaskClient, carl: str, season: Database) -> None:
    try_in(client, "hunter two here", "another secret")
    with season.read() as session:
        kept = [(row.by, row.given, row.message) for row in session.scalars(select(KeptRefusal))]
        tries = session.scalars(select(Attempt.key)).all()
    assert kept and tries
    assert "hunter" not in repr((kept, tries)) and "another secret" not in repr((kept, tries))


def test_refused_tries_are_counted_and_the_eleventh_is_not_even_compared(
    client: FlaskClient, carl: str, season: Database, clock: dict[str, datetime]
) -> None:
    codes = [try_in(client, password="wrong word").status_code for _ in range(11)]
    assert codes == [422] * 10 + [429]
    refused = try_in(client)
    assert refused.status_code == 429 and "Wait 15 minutes" in refused.text
    clock["now"] += timedelta(minutes=15)
    assert try_in(client).status_code == 303


def test_a_flood_of_tries_fills_no_table(client: FlaskClient, carl: str, season: Database) -> None:
    for _ in range(10):
        try_in(client, password="wrong word")
    before = count(season, KeptRefusal), count(season, Attempt)
    assert {try_in(client, password="wrong word").status_code for _ in range(20)} == {429}
    assert (count(season, KeptRefusal), count(season, Attempt)) == before


def test_a_stranger_elsewhere_does_not_shut_carl_out(client: FlaskClient, carl: str) -> None:
    for _ in range(11):
        try_in(client, password="wrong word", environ_base={"REMOTE_ADDR": "10.0.0.66"})
    assert try_in(client, environ_base={"REMOTE_ADDR": "10.0.0.5"}).status_code == 303


def test_one_address_tries_no_more_than_sixty_names(client: FlaskClient, carl: str) -> None:
    codes = [try_in(client, f"name-{number}", "wrong word").status_code for number in range(61)]
    assert codes == [422] * 60 + [429]


def test_a_name_is_tried_no_more_than_a_hundred_times_from_everywhere(client: FlaskClient, carl: str) -> None:
    def code(number: int) -> int:
        here = {"REMOTE_ADDR": f"10.0.{number // 9}.1"}
        return int(try_in(client, password="wrong word", environ_base=here).status_code)

    assert [code(number) for number in range(101)] == [422] * 100 + [429]


def test_coming_in_again_and_again_is_no_wrong_try(client: FlaskClient, carl: str) -> None:
    assert {try_in(client).status_code for _ in range(15)} == {303}


def test_signing_out_ends_it_on_the_server_too(season: Database, app: Flask, carl: str) -> None:
    client = app.test_client()
    token = cookies(try_in(client))["__Host-tracker"].split(";")[0].split("=", 1)[1]
    answer = client.post("/sign-out")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert "Max-Age=0" in cookies(answer)["__Host-tracker"] and "Secure" in cookies(answer)["__Host-tracker"]
    assert client.get("/").headers["Location"] == "/sign-in"
    client.set_cookie("__Host-tracker", token)
    assert client.get("/").headers["Location"] == "/sign-in"


def test_signing_out_is_no_link(client: FlaskClient) -> None:
    assert client.get("/sign-out").status_code == 405


def test_a_shift_later_the_sign_in_has_ended(app: Flask, clock: dict[str, datetime]) -> None:
    client = sign_in_as(app, "carl")
    for _ in range(4):
        clock["now"] += timedelta(hours=3)
        assert client.get("/").status_code == 200
    clock["now"] += timedelta(seconds=1)
    assert client.get("/").headers["Location"] == "/sign-in"


def test_eight_idle_hours_end_it(app: Flask, clock: dict[str, datetime]) -> None:
    client = sign_in_as(app, "carl")
    clock["now"] += timedelta(hours=8, seconds=1)
    assert client.get("/").headers["Location"] == "/sign-in"


@pytest.mark.parametrize("token", ["", "x", "x" * 43, "'; drop table signed_in; --", "é", "a" * 4000])
def test_a_made_up_token_is_nobody(client: FlaskClient, token: str) -> None:
    client.set_cookie("__Host-tracker", token)
    assert client.get("/").headers["Location"] == "/sign-in"


def test_an_invitation_is_opened_as_often_as_one_likes_and_used_once(
    client: FlaskClient, season: Database
) -> None:
    token = done(season, lambda s: make_account(s, "ana", "lena", season.clock()))
    for _ in range(3):
        page = client.get(f"/link/{token}")
        assert page.status_code == 200 and 'autocomplete="new-password"' in page.text
        assert page.headers["Referrer-Policy"] == "no-referrer"
        assert page.headers["Cache-Control"] == "no-store"
    answer = client.post(f"/link/{token}", data={"password": PASSWORD})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    assert "Your name here is ana." in client.get("/sign-in").text
    assert try_in(client, "ana").status_code == 303
    again = client.post(f"/link/{token}", data={"password": "other words here"})
    assert again.status_code == 422 and "Ask the lead for a new one." in again.text


def test_a_short_password_leads_back_to_the_same_link(client: FlaskClient, season: Database) -> None:
    token = done(season, lambda s: make_account(s, "ana", "lena", season.clock()))
    answer = client.post(f"/link/{token}", data={"password": "short", "back": f"/link/{token}"})
    assert answer.status_code == 422 and f'href="/link/{token}"' in answer.text


def test_links_are_not_to_be_guessed_in_numbers(client: FlaskClient) -> None:
    codes = [client.post(f"/link/{number}", data={"password": PASSWORD}).status_code for number in range(31)]
    assert codes == [422] * 30 + [429]


def test_a_reset_lets_in_who_was_locked_by_wrong_tries(
    client: FlaskClient, carl: str, season: Database
) -> None:
    for _ in range(11):
        try_in(client, password="wrong word")
    token = done(season, lambda s: make_reset(s, "carl", "lena", season.clock()))
    assert client.post(f"/link/{token}", data={"password": "other words here"}).status_code == 303
    assert try_in(client, password="other words here").status_code == 303


def test_whoever_is_shut_out_is_out_with_the_next_page(app: Flask, season: Database) -> None:
    client = sign_in_as(app, "carl")
    assert client.get("/").status_code == 200
    done(season, lambda s: set_active(s, "carl", False, season.clock()))
    assert client.get("/").headers["Location"] == "/sign-in"
    assert client.post("/sign-out").status_code == 401
