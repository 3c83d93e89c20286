"""The second factor at the door, and the log of comings: who came in, who was turned away, and no secret in it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pyotp
import pytest
from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from tests.makers import act, at, done
from tests.web.conftest import SECRET, ClientAs, made_app, sign_in_as
from tracker.lookups.access import Coming, comings
from tracker.steps import sign_in as step
from tracker.steps.second_factor import begin_factor, confirm_factor
from tracker.steps.set_practice import set_practice
from tracker.steps.sign_in import account_of, make_account, use_link
from tracker.storage.access import SecondFactor
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
def carl(season: Database, clock: dict[str, datetime]) -> pyotp.TOTP:
    """Carl, who has a password and a phone; the phone."""
    token = done(season, lambda s: make_account(s, "carl", "lena", at(0)))
    done(season, lambda s: use_link(s, token, PASSWORD, at(0)))
    made = done(season, lambda s: begin_factor(s, account_of(s, "carl"), SECRET, at(0), programme="Larkmoor"))
    phone = pyotp.TOTP(made.secret)
    done(season, lambda s: confirm_factor(s, account_of(s, "carl"), phone.at(at(0)), SECRET, at(0)))
    clock["now"] += timedelta(minutes=5)
    return phone


def try_in(client: FlaskClient, code: str = "", password: str = PASSWORD, **more: Any) -> Any:
    return client.post("/sign-in", data={"name": "carl", "password": password, "code": code}, **more)


def told(season: Database) -> list[Coming]:
    with season.read() as session:
        return list(reversed(comings(session)))


def test_password_and_code_together_lead_in_and_neither_alone(
    client: FlaskClient, carl: pyotp.TOTP, clock: dict[str, datetime]
) -> None:
    right = carl.at(clock["now"])
    assert try_in(client).status_code == 422
    assert try_in(client, right, password="wrong word").status_code == 422
    assert try_in(client, right).status_code == 303


def test_a_wrong_code_and_a_wrong_password_look_the_same(client: FlaskClient, carl: pyotp.TOTP) -> None:
    code, password = try_in(client, "000000"), try_in(client, password="wrong word")
    assert (code.status_code, code.text) == (password.status_code, password.text)


def test_whoever_knows_the_password_guesses_ten_codes_and_no_more_from_wherever_he_sits(
    client: FlaskClient, carl: pyotp.TOTP, clock: dict[str, datetime]
) -> None:
    def code(number: int) -> int:
        here = {"REMOTE_ADDR": f"10.0.{number}.1"}
        return int(try_in(client, f"{number:06}", environ_base=here).status_code)

    assert [code(number) for number in range(11)] == [422] * 10 + [429]
    assert try_in(client, carl.at(clock["now"])).status_code == 429
    clock["now"] += timedelta(minutes=15)
    assert try_in(client, carl.at(clock["now"])).status_code == 303


def test_it_is_set_up_with_a_phone_and_asked_for_from_then_on(
    app: Flask, season: Database, clock: dict[str, datetime]
) -> None:
    client = sign_in_as(app, "ana")
    assert "Show the code to scan" in client.get("/second-factor").text
    page = client.post("/second-factor")
    assert page.headers["Cache-Control"] == "no-store"
    secret = re.search(r'<p class="code">([A-Z2-7 ]+)</p>', page.text)
    assert secret and "<svg" in page.text
    phone = pyotp.TOTP(secret[1].replace(" ", ""))
    assert client.post("/second-factor/confirm", data={"code": "000000"}).status_code == 422
    done_page = client.post("/second-factor/confirm", data={"code": phone.at(clock["now"])})
    papers = re.findall(r'<li class="code">([0-9A-Z-]{29})</li>', done_page.text)
    assert len(papers) == 8
    again = client.get("/second-factor").text
    assert phone.secret not in again and papers[0] not in again
    assert "Every sign-in of yours asks for a code" in again
    assert client.post("/second-factor").status_code == 422


def test_the_code_to_scan_is_read_by_an_independent_reader(app: Flask, season: Database) -> None:
    import zxingcpp
    from PIL import Image, ImageDraw

    page = sign_in_as(app, "ana").post("/second-factor").text
    side = int(re.search(r'viewBox="0 0 (\d+) ', page)[1])  # type: ignore[index]
    picture = Image.new("L", (side * 8, side * 8), 255)
    for column, row in re.findall(r"M(\d+) (\d+)h1v1h-1z", page):
        left, top = int(column) * 8, int(row) * 8
        ImageDraw.Draw(picture).rectangle((left, top, left + 7, top + 7), fill=0)
    (found,) = zxingcpp.read_barcodes(picture)
    assert pyotp.parse_uri(found.text).name == "ana"
    assert "Larkmoor" in found.text


def test_where_the_programme_wants_one_nothing_is_entered_before(
    app: Flask, season: Database, clock: dict[str, datetime]
) -> None:
    client = sign_in_as(app, "lena")
    set_to(season, "staff")
    assert client.get("/people").headers["Location"] == "/second-factor"
    turned = client.post("/people", data={"key": "eva", "name": "Eva Moss", "role": "clerk"})
    assert turned.status_code == 422 and "second-factor-needed" in turned.text
    page = client.post("/second-factor").text
    secret = re.search(r'<p class="code">([A-Z2-7 ]+)</p>', page)
    assert secret
    code = pyotp.TOTP(secret[1].replace(" ", "")).at(clock["now"])
    assert client.post("/second-factor/confirm", data={"code": code}).status_code == 200
    assert client.get("/people").status_code == 200


def test_where_it_is_wanted_of_leads_others_go_on_and_everybody_may_leave(
    app: Flask, season: Database, client_as: ClientAs
) -> None:
    set_to(season, "lead")
    assert client_as("carl").get("/").status_code == 200
    lena = client_as("lena")
    assert lena.get("/").headers["Location"] == "/second-factor"
    assert lena.post("/sign-out").status_code == 303


def set_to(season: Database, value: str) -> None:
    done(
        season,
        lambda s: set_practice(s, "second_factor", value, act(s, "lena", 1), source="we", reason="wanted"),
    )


def test_the_lead_takes_a_lost_phone_away(client: FlaskClient, client_as: ClientAs, carl: pyotp.TOTP) -> None:
    lena = client_as("lena")
    assert "with a second factor" in lena.get("/people").text
    assert lena.post("/people/carl/second-factor").status_code == 303
    assert try_in(client).status_code == 303


def test_every_coming_and_every_refusal_is_told_and_who_did_it(
    client: FlaskClient, client_as: ClientAs, season: Database, carl: pyotp.TOTP, clock: dict[str, datetime]
) -> None:
    try_in(client, password="wrong word")
    try_in(client, "000000")
    try_in(client, carl.at(clock["now"]))
    client.get("/people")
    client.post("/sign-out")
    client.post("/sign-in", data={"name": "hunter two here", "password": "another secret"})
    lena = client_as("lena")
    lena.post("/people/carl/reset")
    lena.post("/people/carl/active", data={"active": "no"})
    found = [(one.what, one.who, one.about) for one in told(season)]
    assert found == [
        ("sign-in refused", "Carl Otis", ""),
        ("code refused", "Carl Otis", ""),
        ("signed in", "Carl Otis", ""),
        ("turned away", "Carl Otis", "GET office.people"),
        ("signed out", "Carl Otis", ""),
        ("sign-in refused", "", ""),
        ("link made", "Carl Otis", "by lena"),
        ("shut out", "Carl Otis", "by lena"),
    ]
    assert {one.place for one in told(season)} == {"127.0.0.1"}
    assert all(one.at.utcoffset() == timedelta(0) for one in told(season))
    page = lena.get("/people/comings").text
    assert "sign-in refused" in page and "hunter" not in page


def test_nothing_typed_and_no_secret_is_in_the_log_of_comings_nor_in_any_refusal(
    client: FlaskClient, season: Database, carl: pyotp.TOTP, clock: dict[str, datetime]
) -> None:
    try_in(client, "123456", password="wrong word")
    try_in(client, "654321")
    code = carl.at(clock["now"])
    answer = try_in(client, code)
    (cookie,) = (
        one.split("=", 1)[1].split(";")[0]
        for one in answer.headers.getlist("Set-Cookie")
        if one.startswith("__Host-tracker=")
    )
    with season.read() as session:
        kept = repr([(row.given, row.message, row.by) for row in session.scalars(select(KeptRefusal))])
        sealed = session.scalars(select(SecondFactor.secret)).one()
    kept += repr(told(season))
    for secret in ("wrong word", PASSWORD, "123456", "654321", code, cookie, carl.secret, sealed):
        assert secret not in kept, secret


def test_a_page_that_asks_over_and_over_fills_no_table(client_as: ClientAs, season: Database) -> None:
    carl = client_as("carl")
    for _ in range(20):
        assert carl.get("/people").status_code == 403
    assert len(told(season)) == 1


def test_a_stranger_tries_sixty_tags_and_then_is_told_nothing(app: Flask, season: Database) -> None:
    client = app.test_client()
    codes = [client.get(f"/T/none{number}").status_code for number in range(61)]
    assert set(codes[:60]) <= {404, 422} and codes[60] == 429
    elsewhere = client.get("/T/nonsense", environ_base={"REMOTE_ADDR": "10.0.0.5"})
    assert elsewhere.status_code in (404, 422)


def test_a_forged_forwarded_address_changes_neither_the_count_nor_the_note(
    season: Database, caplog: pytest.LogCaptureFixture
) -> None:
    client = made_app(season).test_client()
    caplog.set_level("INFO", logger="tracker.access")
    codes = [
        client.get(f"/T/none{number}", headers={"X-Forwarded-For": f"10.9.9.{number}"}).status_code
        for number in range(61)
    ]
    assert codes[60] == 429
    assert "10.9.9." not in caplog.text
