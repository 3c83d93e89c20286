"""The lead's page of people: take in, invite, reset, shut out, let in again."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import select

from tests.makers import everything
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tracker.steps.sign_in import secret_hash
from tracker.storage.access import AccessLink, Account
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.people import PartyRow

LINK = re.compile(r"https://hay\.example/link/([\w-]{43})")
EVA = {"key": "eva", "name": "Eva Moss", "role": "clerk"}


def token_in(page: str) -> str:
    found = LINK.search(page)
    assert found, page
    return found[1]


def links(season: Database) -> list[tuple[str, str, str, bool]]:
    with season.read() as session:
        rows = session.scalars(select(AccessLink).order_by(AccessLink.id)).all()
        return [(row.token_hash, row.purpose, row.made_by, row.used_at is None) for row in rows]


def test_somebody_new_is_taken_in_and_invited_in_one_act(client_as: ClientAs, season: Database) -> None:
    lena = client_as("lena")
    answer = lena.post("/people", data=EVA)
    assert answer.status_code == 200 and answer.headers["Cache-Control"] == "no-store"
    assert "Give this address to Eva Moss and to nobody else." in answer.text
    assert links(season)[-1] == (secret_hash(token_in(answer.text)), "invite", "lena", True)
    with season.read() as session:
        made = session.scalars(select(PartyRow).where(PartyRow.key == "eva")).one()
        assert (made.name, made.role, made.kind) == ("Eva Moss", "clerk", "person")
    assert "invited, not yet used" in lena.get("/people").text


def test_the_link_is_shown_once_and_stands_on_no_page_after(client_as: ClientAs) -> None:
    lena = client_as("lena")
    token = token_in(lena.post("/people", data=EVA).text)
    assert token not in lena.get("/people").text and token not in lena.get("/").text


def test_where_the_tags_say_https_and_people_come_by_http_the_link_leads_where_the_lead_is(
    season: Database,
) -> None:
    app = made_app(season)
    app.config["SESSION_COOKIE_SECURE"] = False
    lena = sign_in_as(app, "lena")
    page = lena.post("/people", data=EVA, base_url="http://localhost:8000").text
    assert "http://localhost:8000/link/" in page and "hay.example" not in page


def test_a_foreign_host_in_the_request_does_not_get_into_a_link(client_as: ClientAs) -> None:
    page = client_as("lena").post("/people", data=EVA, headers={"Host": "elsewhere.example"})
    assert "elsewhere" not in page.text


@pytest.mark.parametrize(
    ("spoilt", "code"),
    [
        ({"key": "Eva Moss"}, "not-a-key"),
        ({"key": ""}, "not-a-key"),
        ({"name": "  "}, "name-missing"),
        ({"role": "boss"}, "not-a-role"),
        ({"role": ""}, "not-a-role"),
        ({"key": "carl"}, "key-taken"),
    ],
)
def test_one_field_spoilt_leaves_nothing_behind_but_the_refusal(
    client_as: ClientAs, season: Database, spoilt: dict[str, str], code: str
) -> None:
    lena = client_as("lena")
    before = everything(season)
    answer = lena.post("/people", data={**EVA, **spoilt, "back": "/people"})
    assert answer.status_code in (409, 422)
    assert f'<p class="small">{code}</p>' in answer.text and 'href="/people"' in answer.text
    assert everything(season) == before
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal).order_by(KeptRefusal.id.desc()).limit(1)).one()
    assert (kept.code, kept.by) == (code, "lena") and "csrf_token" not in kept.given


def test_an_empty_form_is_refused_and_no_fault(client_as: ClientAs) -> None:
    assert client_as("lena").post("/people", data={}).status_code == 422


def test_somebody_known_is_invited(client_as: ClientAs, season: Database) -> None:
    lena = client_as("lena")
    assert "Invite Tove Lind, technician" in lena.get("/people").text
    token = token_in(lena.post("/people/tove/invite").text)
    assert links(season)[-1][:2] == (secret_hash(token), "invite")
    assert lena.post("/people/tove/invite").status_code == 409
    assert "Invite Tove Lind" not in lena.get("/people").text


def test_places_and_carriers_are_not_offered(client_as: ClientAs) -> None:
    page = client_as("lena").get("/people").text
    assert "Drop box" not in page and "Valley Van" not in page
    assert client_as("lena").post("/people/van/invite").status_code == 422


def test_a_reset_link_ends_the_link_before(client_as: ClientAs, season: Database) -> None:
    lena = client_as("lena")
    lena.post("/people/carl/invite")
    token = token_in(lena.post("/people/carl/reset").text)
    mine = [link for link in links(season) if link[2] == "lena"][-2:]
    assert [(purpose, still) for _, purpose, _, still in mine] == [("invite", False), ("reset", True)]
    assert mine[-1][0] == secret_hash(token)


def test_who_has_no_account_gets_no_reset(client_as: ClientAs) -> None:
    assert client_as("lena").post("/people/carl/reset").status_code == 404


def test_shutting_out_and_letting_in_again(client_as: ClientAs, season: Database) -> None:
    lena, carl = client_as("lena"), client_as("carl")
    answer = lena.post("/people/carl/active", data={"active": "no"})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/people")
    page = lena.get("/people").text
    assert "carl is signed out and may not sign in." in page and "shut out" in page
    assert carl.get("/").headers["Location"] == "/sign-in"
    lena.post("/people/carl/active", data={"active": "yes"})
    with season.read() as session:
        assert session.scalar(select(Account.active).where(Account.party_key == "carl")) is True
    assert carl.get("/").headers["Location"] == "/sign-in", "what was ended stays ended"


def test_the_only_lead_does_not_shut_himself_out(client_as: ClientAs, season: Database) -> None:
    lena = client_as("lena")
    with season.act("set a password", "", {}) as session:
        session.scalars(select(Account)).one().password_hash = "$argon2id$stands-for-one"
    answer = lena.post("/people/lena/active", data={"active": "no"})
    assert answer.status_code == 422 and "last-lead" in answer.text
    assert lena.get("/people").status_code == 200


def test_a_name_with_marks_in_it_is_shown_and_not_run(client_as: ClientAs) -> None:
    lena = client_as("lena")
    page = lena.post("/people", data={**EVA, "name": "<b onclick=alert(1)>Eva"})
    assert "<b onclick" not in page.text and "&lt;b onclick" in page.text
    assert "<b onclick" not in lena.get("/people").text
