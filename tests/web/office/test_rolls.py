"""The rolls by page: given out, brought back, spoilt, and a sheet of paper for who carries them."""

from __future__ import annotations

import re

import pypdfium2
import pytest
import zxingcpp
from flask.testing import FlaskClient

from labels.payload import url
from tests.makers import BASE, act, done
from tests.web.conftest import ClientAs
from tracker.lookups import tag_rolls
from tracker.lookups.tag_rolls import carried_by_day, rolls
from tracker.steps.print_tags import print_tags
from tracker.storage.engine import Database


@pytest.fixture
def clerk(client_as: ClientAs) -> FlaskClient:
    return client_as("carl")


@pytest.fixture
def codes(season: Database) -> list[str]:
    """A roll of five, printed with no lot known."""
    _, printed = done(
        season,
        lambda s: print_tags(s, [None] * 5, act(s, "carl", -60), base_url=BASE, layout={"stock": "roll"}),
    )
    return [one.tag.code for one in printed]


def test_a_stretch_is_given_out_and_counted_in_and_every_tag_is_accounted_for(
    clerk: FlaskClient, season: Database, codes: list[str]
) -> None:
    given = clerk.post("/tags/issue", data={"run": "1", "first": "2", "last": "4", "to": "tove"})
    assert given.status_code == 303
    page = clerk.get("/tags/rolls").text
    assert "Tove Lind carries 3 more." in page and "2026-06-20" in page
    back = clerk.post("/tags/count-in", data={"codes": f"{codes[1]}, {codes[2].lower()}"})
    assert back.status_code == 303
    with season.read() as session:
        (roll,), (carried,) = rolls(session), carried_by_day(session)
    assert roll.accounted and roll.in_office == 4
    assert (carried.person, carried.codes) == ("Tove Lind", (f"{codes[3][:4]}-{codes[3][4:]}",))


def test_a_failed_run_is_void_in_one_act_from_the_first_spoilt_tag_on(
    clerk: FlaskClient, season: Database, codes: list[str]
) -> None:
    clerk.post("/tags/void-run", data={"run": "1", "first": "3", "reason": "the ribbon ran out"})
    with season.read() as session:
        (roll,) = rolls(session)
    assert (roll.void, roll.in_office, roll.accounted) == (3, 2, True)


def test_the_sheet_has_the_tags_that_the_person_carries_and_no_other(
    clerk: FlaskClient, codes: list[str]
) -> None:
    clerk.post("/tags/issue", data={"run": "1", "first": "2", "last": "3", "to": "tove"})
    answer = clerk.post("/tags/field-sheet", data={"to": "tove", "paper": "a4"})
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    page = pypdfium2.PdfDocument(answer.data)[0]
    read = {found.text for found in zxingcpp.read_barcodes(page.render(scale=203 / 72).to_numpy())}
    assert read == {url(BASE, code) for code in codes[1:3]}


@pytest.mark.parametrize(
    ("address", "form", "code"),
    [
        ("issue", {"run": "9", "first": "1", "last": "2", "to": "tove"}, 404),
        ("issue", {"run": "1", "first": "x", "last": "2", "to": "tove"}, 422),
        ("issue", {"run": "1", "first": "1", "last": "2", "to": "box"}, 422),
        ("count-in", {"codes": ""}, 422),
        ("void-run", {"run": "1", "first": "1", "reason": ""}, 422),
        ("field-sheet", {"to": "ulf"}, 422),
    ],
)
def test_what_cannot_be_is_refused_with_words(
    clerk: FlaskClient, codes: list[str], address: str, form: dict[str, str], code: int
) -> None:
    answer = clerk.post(f"/tags/{address}", data=form)
    assert answer.status_code == code
    assert 'class="remedy"' in answer.text


def test_the_latest_runs_stand_first_and_older_ones_a_page_further(
    clerk: FlaskClient, season: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tag_rolls, "USUAL", 2)
    for count in (1, 2, 3, 4, 5):
        done(
            season,
            lambda s, count=count: print_tags(
                s, [None] * count, act(s, "carl", -60), base_url=BASE, layout={"stock": "roll"}
            ),
        )
    seen, at = [], "/tags/rolls"
    for _ in range(3):
        page = clerk.get(at).text
        seen.append(re.findall(r"<tr><td>(\d+)</td>", page))
        older = re.search(r'href="(/tags/rolls\?before=\d+)">Older runs', page)
        at = older[1] if older else ""
    assert seen == [["5", "4"], ["3", "2"], ["1"]] and at == ""
    assert clerk.get("/tags/rolls?before=x").status_code == 422
