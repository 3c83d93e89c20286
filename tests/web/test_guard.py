"""What stands before every page: forms that are ours, headers, and that looking changes nothing."""

from __future__ import annotations

import logging
import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from io import BytesIO
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select, update
from werkzeug.routing import Rule

from labels.payload import token_hash
from tests.cli.stages import Stages, build
from tests.makers import at, everything
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tracker.errors import Unavailable
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.storage.results import ReportVersion
from tracker.storage.tags import Tag
from tracker.web.shared.back import own
from tracker.web.shared.log import masked

TOKEN = "0123456789ABCDEFGHJKMNPQRS"
# The one on the stub of the lot that is reported.
STUB = "7K3M9QTXB2C4D5F6G8H9JAKNPR"


@pytest.fixture(scope="module")
def stages(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Stages:
    return build(season_template, tmp_path_factory.mktemp("guard") / "season.db")


@pytest.fixture
def full(stages: Stages, tmp_path: Path) -> Iterator[Database]:
    """A season with a sample at every station; its clock moves on by a second whenever it is read."""
    path = shutil.copy(stages.path, tmp_path / "full.db")
    clock = iter(at(2000) + timedelta(seconds=second) for second in range(100_000))
    season = Database(f"sqlite:///{path}", clock=lambda: next(clock))
    stub_known(season, stages)
    yield season
    season.close()


def stub_known(season: Database, stages: Stages) -> None:
    """The season keeps a hash only, so the stub's gets that of a token the tests know."""
    with season.act("put there", "", {}) as session:
        mine = update(Tag).where(Tag.code == stages.names["reported"])
        session.execute(mine.values(token_hash=token_hash(STUB)))


def token_in(page: str) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert found
    return found[1]


def pages_of(app: Flask) -> list[Rule]:
    """The addresses for people; those for programs have no forms and no cookie: tests/web/api holds them."""
    return [rule for rule in app.url_map.iter_rules() if not rule.endpoint.startswith("api.")]


def posts(app: Flask) -> list[str]:
    values = {
        "number": 1,
        "name": "x",
        "code": "x",
        "key": "carl",
        "token": "x",
        "scanned": "x",
        "stub": STUB,
    }
    rules = [rule for rule in pages_of(app) if "POST" in (rule.methods or ())]
    built = [rule.build({name: values.get(name, "x") for name in rule.arguments}) for rule in rules]
    return sorted(address[1] for address in built if address)


def test_there_are_forms_to_guard(app: Flask) -> None:
    assert len(posts(app)) > 20


def test_no_form_is_taken_without_its_guard_in_any_view(app_strict: Flask, season: Database) -> None:
    client = sign_in_as(app_strict, "lena")
    before = everything(season)
    for address in posts(app_strict):
        answer = client.post(address, data={"key": "eva", "name": "Eva", "role": "lead"})
        assert answer.status_code == 400, address
        assert "This form was opened too long ago" in answer.text
    assert everything(season) == before


def test_a_form_with_its_guard_is_taken(app_strict: Flask) -> None:
    client = sign_in_as(app_strict, "lena")
    guard = token_in(client.get("/people").text)
    data = {"csrf_token": guard, "key": "eva", "name": "Eva Moss", "role": "clerk"}
    assert client.post("/people", data=data).status_code == 200


def test_the_guard_of_another_sign_in_does_not_do(app_strict: Flask) -> None:
    stolen = token_in(sign_in_as(app_strict, "carl").get("/").text)
    answer = sign_in_as(app_strict, "lena").post("/people/carl/invite", data={"csrf_token": stolen})
    assert answer.status_code == 400


def test_a_refused_form_leads_back_to_where_it_was(app_strict: Flask) -> None:
    client = sign_in_as(app_strict, "lena")
    answer = client.post("/people", data={"back": "/people"})
    assert answer.status_code == 400
    assert 'href="/people"' in answer.text and "Lena Roy, lead" in answer.text


@pytest.fixture(scope="module")
def pages(stages: Stages, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Every page as the lead sees it, by its address."""
    path = shutil.copy(stages.path, tmp_path_factory.mktemp("pages") / "full.db")
    season = Database(f"sqlite:///{path}", clock=lambda: at(2000))
    stub_known(season, stages)
    app = made_app(season, strict=True)
    # The lead sees every page but those at a stub, which lead her to the sample's way.
    people = {True: app.test_client(), False: sign_in_as(app, "lena")}
    answers = {
        address: people[address.startswith(f"/T/{STUB}")].get(address, buffered=True)
        for address in addresses(app, stages, season)
    }
    yield {address: page.text for address, page in answers.items() if page.mimetype == "text/html"}
    season.close()


def test_every_form_of_every_page_carries_its_guard(pages: dict[str, str]) -> None:
    form_of = re.compile(r"<form[^>]*method=\"post\".*?</form>", re.DOTALL | re.IGNORECASE)
    forms = [(address, form) for address, page in pages.items() for form in form_of.findall(page)]
    assert len(forms) > 30
    assert [(address, form[:200]) for address, form in forms if 'name="csrf_token"' not in form] == []


def addresses(app: Flask, stages: Stages, season: Database) -> list[str]:
    """Every address that can be opened, with something real in each of its places."""
    with season.read() as session:
        report = session.scalar(select(ReportVersion.number).limit(1))
    codes = sorted(name for name in stages.names.values() if re.fullmatch(r"[0-9A-Z]{8}", name))
    places: dict[str, list[Any]] = {
        "code": codes,
        "text": [*codes, "lot 1"],
        "scanned": [*codes, TOKEN, "nonsense"],
        "name": ["of baking", "of dried", "late_days", "nowhere"],
        "number": [1, 99] if report is None else [1, 99, report],
        "key": ["carl"],
        "token": ["x" * 43],
        "stub": [STUB],
        "sha256": ["0" * 64],
        "filename": ["house.css"],
        "figure": ["late", "refused", "nowhere"],
        "kind": ["rule", "nowhere"],
    }
    found = []
    for rule in pages_of(app):
        if "GET" not in (rule.methods or ()):
            continue
        # One view may stand at several addresses, each with a word of its own.
        own = dict(rule.defaults or {})
        open_places = set(rule.arguments) - set(own)
        for chosen in product(*(places[name] for name in sorted(open_places))):
            if "int:" in rule.rule and not all(isinstance(value, int) for value in chosen):
                continue
            address = rule.build({**own, **dict(zip(sorted(open_places), chosen, strict=True))})
            found += [address[1]] if address else []
    return sorted(set(found))


@pytest.mark.parametrize("key", ["lena", "tove", None])
def test_whoever_looks_at_every_page_changes_nothing(full: Database, stages: Stages, key: str | None) -> None:
    app = made_app(full)
    client = sign_in_as(app, key) if key else app.test_client()
    before = state(full)
    for address in addresses(app, stages, full):
        assert client.get(address, buffered=True).status_code < 500, address
    assert state(full) == before


def test_opening_a_tag_a_hundred_times_and_each_page_often_changes_nothing(
    full: Database, stages: Stages
) -> None:
    app = made_app(full)
    client = sign_in_as(app, "lena")
    at_map = app.url_map.bind("hay.example")
    # Of those that differ in their sample only, one; a tag's address in either case.
    kinds = {(at_map.match(one)[0], one[:3] == "/T/"): one for one in addresses(app, stages, full)}
    before = state(full)
    for (endpoint, _), address in kinds.items():
        for _ in range(100 if endpoint == "scan.opened" else 2 if address.endswith(".pdf") else 10):
            client.get(address, buffered=True)
    assert state(full) == before


def state(season: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Every row, kept refusals too; of the sign-ins only that there are so many.

    Who was turned away and who opened a page is noted, and from where somebody tries tags that are not ours.
    """
    found = everything(season)
    for noted in ("access_entry", "attempt", "opening"):
        found.pop(noted)
    found["signed_in"] = [(row[0],) for row in found["signed_in"]]
    with season.read() as session:
        found["kept_refusal"] = [tuple(row) for row in session.execute(select(KeptRefusal.id))]
        assert session.scalar(select(EventRow.seq).limit(1))
    return found


HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex",
}


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/", 200),
        ("/sign-in", 200),
        ("/people", 403),
        ("/nowhere", 404),
        ("/sign-out", 405),
        ("/way/7K3M9QTX", 422),
    ],
)
def test_every_answer_has_its_headers(client_as: ClientAs, address: str, status: int) -> None:
    answer = client_as("carl").get(address)
    assert answer.status_code in (status, 404)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert "http" not in answer.headers["Content-Security-Policy"]


def test_https_is_insisted_on_only_where_it_is_used(season: Database) -> None:
    def strict_transport(base_url: str) -> str | None:
        return (
            made_app(season, base_url=base_url)
            .test_client()
            .get("/sign-in")
            .headers.get("Strict-Transport-Security")
        )

    assert strict_transport("https://hay.example") == "max-age=31536000; includeSubDomains"
    assert strict_transport("http://192.0.2.7:8000") is None


@pytest.mark.parametrize(
    ("address", "policy"),
    [
        ("/T/7K3M9QTX", "no-referrer"),
        ("/t/x", "no-referrer"),
        ("/link/x", "no-referrer"),
        ("/sign-in", "same-origin"),
    ],
)
def test_an_address_with_a_secret_in_it_is_told_to_nobody(
    client: FlaskClient, address: str, policy: str
) -> None:
    assert client.get(address).headers["Referrer-Policy"] == policy


def test_no_page_has_script_or_style_in_it(pages: dict[str, str]) -> None:
    # The policy would not run them, and the page would break in silence.
    for address, page in pages.items():
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=\"|javascript:", page), address
        inline = re.findall(r"<script(?![^>]*\bsrc=)([^>]*)>", page)
        assert all('type="application/json"' in attributes for attributes in inline), address
        elsewhere = re.findall(r"(?:src|href|action)=\"((?:https?:)?//[^\"]*)", page)
        assert elsewhere == [], address


def test_every_input_of_every_page_has_its_label(pages: dict[str, str]) -> None:
    for address, page in pages.items():
        labelled = set(re.findall(r"<label[^>]*\bfor=\"([^\"]+)\"", page))
        unwrapped = re.sub(r"<label(?![^>]*\bfor=).*?</label>", "", page, flags=re.DOTALL)
        for box in re.findall(r"<(?:input|select|textarea)\b[^>]*>", unwrapped):
            if 'type="hidden"' in box or "aria-label" in box:
                continue
            name = re.search(r"\bid=\"([^\"]+)\"", box)
            assert name and name[1] in labelled, (address, box)


def test_what_is_too_large_is_refused_in_words(client_as: ClientAs, app: Flask) -> None:
    app.config["MAX_CONTENT_LENGTH"] = 1000
    answer = client_as("lena").post("/people", data={"key": "x" * 2000, "back": "/people"})
    assert answer.status_code == 413 and "The file is too large." in answer.text


def test_a_file_that_is_too_large_is_refused_in_words(client_as: ClientAs, app_strict: Flask) -> None:
    app_strict.config["MAX_CONTENT_LENGTH"] = 1000
    client = sign_in_as(app_strict, "ana")
    answer = client.post("/results", data={"file": (BytesIO(b"x" * 5000), "run.csv")})
    assert answer.status_code == 413 and "The file is too large." in answer.text


def test_a_method_that_is_not_taken_says_which_are(client: FlaskClient) -> None:
    answer = client.get("/sign-out")
    assert answer.status_code == 405 and "POST" in answer.headers["Allow"]


def test_a_fault_of_the_program_is_a_page_without_its_secrets(season: Database) -> None:
    app = made_app(season)
    app.config.update(TESTING=False, PROPAGATE_EXCEPTIONS=False)
    app.logger.disabled = True

    def broken() -> str:
        raise RuntimeError("the password is nine green gates")

    broken.roles = ("anyone",)  # type: ignore[attr-defined]
    app.add_url_rule("/broken", "broken", broken)
    answer = app.test_client().get("/broken")
    assert answer.status_code == 500
    assert "green" not in answer.text and "Traceback" not in answer.text and "Go back" in answer.text
    assert "Look whether it is recorded" in answer.text
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_busy_season_keeps_no_page_from_anybody(
    app: Flask, season: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = sign_in_as(app, "carl")
    season.clock = lambda: at(10)

    def busy(*_: Any) -> Any:
        raise Unavailable("database-busy", "The season could not be written.", remedy="Try again.")

    monkeypatch.setattr(season, "act", busy)
    assert client.get("/").status_code == 200


def test_use_is_noted_every_five_minutes_and_no_more(app: Flask, season: Database) -> None:
    client = sign_in_as(app, "carl")
    minutes = iter([1, 2, 6, 6, 6, 7, 7, 12, 12, 12, 12, 12])

    def seen() -> Any:
        return everything(season)["signed_in"][0]

    first = seen()
    season.clock = lambda: at(next(minutes))
    client.get("/")
    assert seen() == first
    season.clock = lambda: at(6)
    client.get("/")
    assert seen() != first


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        (f"/T/{TOKEN}", "/T/…"),
        (f"/t/{TOKEN.lower()}", "/t/…"),
        (f"https://hay.example/T/{TOKEN}?x=1", "https://hay.example/T/…?x=1"),
        (f"/T/HTTPS://HAY.EXAMPLE/T/{TOKEN}", "/T/…"),
        ("/link/abc-DEF_ghi", "/link/…"),
        ("/T/7K3M9QTX", "/T/7K3M9QTX"),
        ("/T/7K3M-9QTX", "/T/7K3M-9QTX"),
        ("/people/carl/reset", "/people/carl/reset"),
    ],
)
def test_secrets_of_addresses_are_masked_and_codes_are_not(address: str, shown: str) -> None:
    assert masked(address) == shown


def test_the_log_tells_who_asked_for_what_and_no_secret(app: Flask, caplog: pytest.LogCaptureFixture) -> None:
    client = sign_in_as(app, "carl")
    with caplog.at_level(logging.INFO, logger="tracker.access"):
        client.get(f"/T/{TOKEN}?name=hunter")
        client.get("/link/abcdefghijklmnopqrstuvwxyz0123456789")
        client.post("/sign-in", data={"name": "carl", "password": "nine green gates"})
        client.get("/")
    told = caplog.text
    assert "carl GET / 200" in told and "carl GET /T/… 404" in told and "GET /link/… 200" in told
    assert TOKEN not in told and "hunter" not in told and "green" not in told and "abcdefgh" not in told


@pytest.mark.parametrize(
    ("address", "kept"),
    [
        ("/people", True),
        ("/find?text=7K3M-9QTX", True),
        ("/way/lot%201", True),
        ("//elsewhere.example", False),
        ("/\\elsewhere.example", False),
        ("/\n/elsewhere.example", False),
        ("https://elsewhere.example", False),
        ("", False),
        (None, False),
    ],
)
def test_only_our_own_addresses_are_gone_back_to(address: str | None, kept: bool) -> None:
    assert own(address, "/") == (address if kept else "/")
