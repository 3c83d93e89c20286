"""The mill's pages: who is next, what is remembered, and one act with Enter."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from tests.makers import act as by
from tests.makers import at, done, kinds, life, made, make_dried, make_received, standing
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tests.web.lab.reading import hidden, words
from tracker.steps.grind import grind
from tracker.steps.hold import hold
from tracker.storage.coring import Sample
from tracker.storage.engine import Database


@pytest.fixture
def carl(season: Database) -> FlaskClient:
    season.clock = lambda: at(1300)
    return sign_in_as(made_app(season, base_url="http://localhost"), "carl")


def code_of(season: Database, sample: Sample) -> str:
    return standing(season, sample).code or ""


def ground_by_page(client: FlaskClient, code: str, **form: str) -> str:
    page = client.get(f"/mill/{code}").get_data(as_text=True)
    sent = {
        "stage": hidden(page, "stage"),
        "seen": hidden(page, "seen"),
        "screen_mm": "2",
        "cleaned": "yes",
        **form,
    }
    answer = client.post(f"/mill/{code}", data=sent)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/mill"), answer.get_data(as_text=True)
    return client.get("/mill").get_data(as_text=True)


def test_the_queue_shows_coarse_and_fine_with_the_longest_wait_first(
    season: Database, carl: FlaskClient
) -> None:
    first = made(season, make_dried, load="L-1", field="First")
    second = made(season, make_dried, load="L-2", field="Second")
    third = made(season, make_dried, load="L-3", field="Third")
    # Second is ground coarse at 1241, Third at 1250; nobody has touched First since 1240.
    done(season, lambda s: grind(s, third, "coarse", by(s, "ana", 1250), mill="M1", cleaned=False))
    done(season, lambda s: grind(s, second, "coarse", by(s, "ana", 1241), mill="M1"))
    said = words(carl.get("/mill").get_data(as_text=True))
    coarse, fine = said.split("Coarse grind:")[1].split("Fine grind:")
    fine, last = fine.split("What the mill did last")
    assert coarse.startswith(" 1,") and "First" in coarse and "Second" not in coarse
    assert fine.startswith(" 2,") and fine.index("Second") < fine.index("Third")
    # The latest pass stands first, and each says whether the mill was cleaned before it.
    assert last.index(code_of(season, third)[:4]) < last.index(code_of(season, second)[:4])
    assert re.findall(r"M1 2 (yes|no) ", last) == ["no", "yes"]
    assert code_of(season, first)[:4] in coarse


def test_the_safety_of_the_mill_is_said_before_the_act(season: Database, carl: FlaskClient) -> None:
    code = code_of(season, made(season, make_dried))
    for page in ("/mill", f"/mill/{code}"):
        assert "unplug and wait for standstill" in words(carl.get(page).get_data(as_text=True))


def test_a_grind_is_recorded_and_the_page_is_ready_for_the_next_sack(
    season: Database, carl: FlaskClient
) -> None:
    sample = made(season, make_dried)
    page = ground_by_page(carl, code_of(season, sample), mill="M2")
    assert "the coarse grind is recorded" in words(page) and 'name="entry"' in page
    assert re.search(r'<input id="scan"[^>]*data-scan[^>]*autofocus', page)
    data = life(season, sample)[-1].data
    assert (data["screen_mm"], data["mill"], data["cleaned"]) == ("2", "M2", True)


def test_the_next_sack_begins_with_the_mill_screen_and_cleaning_of_the_last(
    season: Database, carl: FlaskClient
) -> None:
    one = code_of(season, made(season, make_dried, load="L-1", field="First"))
    two = code_of(season, made(season, make_dried, load="L-2", field="Second"))
    ground_by_page(carl, one, mill="M2", screen_mm="4", cleaned="")
    page = carl.get(f"/mill/{two}").get_data(as_text=True)
    assert 'name="mill" value="M2"' in page and 'name="screen_mm" inputmode="decimal" value="4"' in page
    assert not re.search(r'name="cleaned"[^>]*checked', page)
    # The button has the focus, so Enter alone records it.
    assert "<button autofocus>Record the coarse grind" in page
    # The fine grind has its own screen.
    assert 'value="1"' in carl.get(f"/mill/{one}").get_data(as_text=True)


def test_a_sack_that_is_not_for_the_mill_says_what_it_is(season: Database, carl: FlaskClient) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: hold(s, sample, by(s, "carl", 1245), reason="smells of mould"))
    page = words(carl.get(f"/mill/{code_of(season, sample)}").get_data(as_text=True))
    assert "on hold: smells of mould" in page and "Record" not in page


def test_hay_dry_enough_by_the_meter_may_skip_the_oven(season: Database, carl: FlaskClient) -> None:
    sample = made(season, make_received)
    ground_by_page(carl, code_of(season, sample), dm="88")
    assert kinds(season, sample)[-1] == "coarse ground"


def test_a_grind_through_an_unusual_screen_is_said_before_the_next_scan(
    season: Database, carl: FlaskClient
) -> None:
    code = code_of(season, made(season, make_dried))
    ground_by_page(carl, code)
    page = ground_by_page(carl, code, screen_mm="0.5")
    assert re.search(r'class="told caution" role="alert">Ground through 0.5 mm', page)


def test_a_sack_that_somebody_else_has_ground_meanwhile_is_not_ground_again(
    season: Database, carl: FlaskClient
) -> None:
    sample = made(season, make_dried)
    code = code_of(season, sample)
    page = carl.get(f"/mill/{code}").get_data(as_text=True)
    done(season, lambda s: grind(s, sample, "coarse", by(s, "ana", 1260), mill="M1"))
    before = kinds(season, sample)
    answer = carl.post(
        f"/mill/{code}", data={"stage": "fine", "seen": hidden(page, "seen"), "screen_mm": "1"}
    )
    assert answer.status_code == 409 and "moved-on" in answer.get_data(as_text=True)
    assert kinds(season, sample) == before


def test_the_mill_is_not_for_the_field(client_as: ClientAs) -> None:
    assert client_as("tove").get("/mill").status_code == 403
