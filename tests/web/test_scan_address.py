"""The one address every QR opens: each person's own page for that bag, and nothing changes by opening it."""

from __future__ import annotations

import html
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from sqlalchemy import select, update

from labels.payload import make_code, token_hash
from tests.cli.stages import Stages, build
from tests.makers import act, at, done, made, make_bag, make_tag
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tracker.steps.bag_cores import replace_tag
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.tags import Tag

TOKEN = "7K3M9QTXB2C4D5F6G8H9JAKNPR"


@pytest.fixture(scope="module")
def stages(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Stages:
    return build(season_template, tmp_path_factory.mktemp("scan") / "season.db")


@pytest.fixture(scope="module")
def doors(stages: Stages, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    path = shutil.copy(stages.path, tmp_path_factory.mktemp("doors") / "season.db")
    season = Database(f"sqlite:///{path}", clock=lambda: at(2000))
    yield made_app(season)
    season.close()


def give_token(season: Database, code: str, token: str = TOKEN) -> None:
    """The season keeps a hash only, so a stub whose token a test knows gets its hash put there."""
    with season.act("put there", "", {}) as session:
        session.execute(update(Tag).where(Tag.code == code).values(token_hash=token_hash(token)))


def bagged(season: Database) -> str:
    sample = made(season, make_bag)
    with season.read() as session:
        return session.scalars(select(Tag.code).where(Tag.sample_id == sample.id)).one()


def retagged(season: Database, code: str) -> str:
    """The code of the tag that replaces this one on its bag."""
    with season.act("retag", "tove", {}) as session:
        new = make_tag(session)
        sample = session.scalars(select(Tag.sample_id).where(Tag.code == code)).one()
        replace_tag(session, session.get_one(Sample, sample), new, act(session, "tove", 70), reason="torn")
    return new


# Where staff of the laboratory land; the stages are those of tests/cli/stages.py.
ACTS = {
    "bagged": "/desk/receive/{code}",
    "signed": "/desk/receive/{code}",
    "received": "/desk/weigh/{code}",
    "weighed": "/desk/weigh/{code}",
    "baking": "/oven/of%20baking",
    "baked": "/desk/weigh/{code}",
    "dried": "/mill/{code}",
    "ground": "/way/{code}",
    "scanned": "/way/{code}",
    "reported": "/way/{code}",
    "archived": "/way/{code}",
    "held": "/way/{code}",
    "fresh": "/way/{code}",
}


@pytest.mark.parametrize("stage", ACTS)
@pytest.mark.parametrize("key", ["carl", "ana", "lena"])
def test_staff_land_on_the_act_that_the_sample_waits_for(
    stage: str, key: str, doors: Flask, stages: Stages
) -> None:
    code = stages.names[stage]
    answer = sign_in_as(doors, key).get(f"/T/{code}")
    assert (answer.status_code, answer.headers["Location"]) == (303, ACTS[stage].format(code=code))


@pytest.mark.parametrize("stage", sorted(ACTS))
def test_where_a_scan_leads_there_is_a_page(stage: str, doors: Flask, stages: Stages) -> None:
    client = sign_in_as(doors, "ana")
    page = client.get(f"/T/{stages.names[stage]}", follow_redirects=True)
    assert page.status_code == 200
    assert stages.names[stage][:4] in page.text


@pytest.mark.parametrize("stage", ["bagged", "received", "dried", "reported"])
def test_a_technician_sees_the_way_of_the_bag(stage: str, doors: Flask, stages: Stages) -> None:
    code = stages.names[stage]
    assert sign_in_as(doors, "tove").get(f"/T/{code}").headers["Location"] == f"/way/{code}"


@pytest.mark.parametrize(
    "written",
    [
        "/T/{code}",
        "/t/{code}",
        "/t/{lower}",
        "/T/{lower}",
        "/T/{left}-{right}",
        "/T/{left}%20{right}",
        "/T/{code}/",
        "/T/HTTPS://HAY.EXAMPLE/T/{code}",
        "/T/https://hay.example/t/{lower}",
    ],
)
def test_a_code_is_understood_however_it_arrives(written: str, season: Database, client_as: ClientAs) -> None:
    code = bagged(season)
    address = written.format(code=code, lower=code.lower(), left=code[:4], right=code[4:])
    answer = client_as("carl").get(address)
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/desk/receive/{code}")


def test_a_stranger_is_told_whom_to_call_and_nothing_of_the_hay(season: Database, app: Flask) -> None:
    page = app.test_client().get(f"/T/{bagged(season)}")
    assert page.status_code == 200
    assert "please call 555-0142" in page.text and "Larkmoor Hay Testing Programme" in page.text
    assert not any(word in page.text for word in ("Oda Meadow", "Long field", "alfalfa", "Tove"))
    assert "/static/bench.js" not in page.text, "nothing listens where nobody is signed in"


def test_a_stub_shows_its_producer_the_lot(season: Database, app: Flask) -> None:
    code = bagged(season)
    give_token(season, code)
    page = app.test_client().get(f"/T/{TOKEN}")
    assert page.status_code == 200
    assert all(word in page.text for word in ("Long field", "cutting 2", "The bag is on its way to us"))
    assert code not in page.text, "the stub does not give the bag's code away"
    assert page.headers["Referrer-Policy"] == "no-referrer" and 'name="robots" content="noindex"' in page.text


@pytest.mark.parametrize(
    "written", ["/T/{token}", "/t/{lower}", "/T/{token}/", "/t/https://hay.example/T/{token}"]
)
def test_a_stub_is_understood_in_both_cases(written: str, season: Database, app: Flask) -> None:
    give_token(season, bagged(season))
    address = written.format(token=TOKEN, lower=TOKEN.lower())
    page = app.test_client().get(address, follow_redirects=True)
    assert page.status_code == 200 and "Long field" in page.text


@pytest.mark.parametrize("key", ["carl", "lena", "tove"])
def test_a_stub_leads_staff_to_the_way_and_to_no_act(key: str, season: Database, app: Flask) -> None:
    code = bagged(season)
    give_token(season, code)
    assert sign_in_as(app, key).get(f"/T/{TOKEN}").headers["Location"] == f"/way/{code}"


def test_an_unknown_a_replaced_and_a_void_stub_are_one_answer(season: Database, app: Flask) -> None:
    code = bagged(season)
    give_token(season, code)
    client = app.test_client()
    unknown = client.get(f"/T/{TOKEN[:-1]}S")
    retagged(season, code)
    void = client.get(f"/T/{TOKEN}")
    assert (unknown.status_code, void.status_code) == (404, 404)
    assert unknown.text == void.text and "Oda Meadow" not in void.text


def test_a_void_tag_names_the_one_that_the_bag_carries_now(season: Database, app: Flask) -> None:
    code = bagged(season)
    new = retagged(season, code)
    carl = sign_in_as(app, "carl")
    assert carl.get(f"/T/{code}").headers["Location"] == f"/way/{code}"
    page = html.unescape(carl.get(f"/way/{code}").text)
    assert f"This tag is void. The bag carries {new[:4]}-{new[4:]} now." in page.replace(" ", " ")
    assert carl.get(f"/T/{new}").headers["Location"] == f"/desk/receive/{new}"


@pytest.mark.parametrize(
    ("written", "status", "code"),
    [
        ("7K3M9QTA", 422, "code-check"),
        ("7K3M", 422, "code-length"),
        ("12345678", 422, "code-digits"),
        ("U2345678", 422, "code-characters"),
        ("HTTPS://ELSEWHERE.EXAMPLE/T/7K3M9QTX", 422, "not-our-label"),
        ("x" * 26, 404, "unknown-stub"),
        ("x" * 40, 422, "token-malformed"),
    ],
)
@pytest.mark.parametrize("key", [None, "carl"])
def test_what_is_no_tag_of_ours_is_refused_in_words(
    written: str, status: int, code: str, key: str | None, app: Flask
) -> None:
    client = sign_in_as(app, key) if key else app.test_client()
    page = client.get(f"/T/{written}")
    assert (page.status_code, f'<p class="small">{code}</p>' in page.text) == (status, True), page.text[-400:]


def test_a_code_that_was_never_printed_is_not_found(season: Database, client_as: ClientAs) -> None:
    assert client_as("carl").get(f"/T/{make_code()}").status_code == 404


def test_a_typed_code_shows_the_lot_and_waits_for_a_tap(season: Database, client_as: ClientAs) -> None:
    # Requirement 21 of the field notes: one random code in 36 passes the check, so a typed one is looked at first.
    code = bagged(season)
    page = client_as("carl").get(f"/find?text={code[:4].lower()}-{code[4:]}")
    assert page.status_code == 200
    assert all(word in page.text for word in ("Oda Meadow", "Long field", "cutting 2", "2026-06-01"))
    assert f'href="/desk/receive/{code}"' in page.text


def test_a_typed_stub_is_not_taken_for_the_bag(season: Database, client_as: ClientAs) -> None:
    give_token(season, bagged(season))
    page = client_as("carl").get(f"/find?text=HTTPS://HAY.EXAMPLE/T/{TOKEN}")
    assert page.status_code == 422 and "stub-scanned" in page.text


def test_no_code_is_refused_and_no_fault(client_as: ClientAs) -> None:
    assert client_as("carl").get("/find").status_code == 422


def test_an_office_reached_by_http_reads_the_tags_of_its_name(season: Database) -> None:
    code = bagged(season)
    carl = sign_in_as(made_app(season, base_url="http://hay.example"), "carl")
    for text in (code, f"HTTPS://HAY.EXAMPLE/T/{code}"):
        assert carl.get(f"/T/{text}").headers["Location"] == f"/desk/receive/{code}"
    assert '"prefix": "HTTPS://HAY.EXAMPLE/T/"' in carl.get("/").text


def test_a_word_that_begins_like_a_lot_is_not_always_one(client_as: ClientAs) -> None:
    carl = client_as("carl")
    assert carl.get("/way/lot%2099").status_code == 404
    assert carl.get("/way/lottery").status_code in (404, 422)


def test_a_tag_on_no_bag_yet_says_so(season: Database, app: Flask) -> None:
    code = done(season, lambda s: make_tag(s))
    page = sign_in_as(app, "carl").get(f"/T/{code}", follow_redirects=True)
    assert page.status_code == 200 and "on no bag yet" in page.text
    assert app.test_client().get(f"/T/{code}").status_code == 200
