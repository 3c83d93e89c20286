"""The lead's page of settings: what holds, since when, by whom and why, and the forms that change it."""

from __future__ import annotations

from tests.makers import make_weighed
from tests.web.conftest import ClientAs
from tracker.domain.practice import RULES
from tracker.storage.custody import StandingRow
from tracker.storage.engine import Database
from tracker.storage.kept import practice_in_force


def test_every_rule_stands_on_the_page_and_opens_its_own(client_as: ClientAs) -> None:
    lena = client_as("lena")
    page = lena.get("/settings").text
    assert all(f'href="/settings/rule/{name}"' in page for name in RULES)
    assert lena.get("/settings/rule/cores").status_code == 200
    assert lena.get("/settings/rule/nothing").status_code == 404


def test_a_rule_is_changed_with_its_source_and_reason_and_the_history_tells(
    client_as: ClientAs, season: Database
) -> None:
    lena = client_as("lena")
    form = {"value": "25", "source": "our trial of 2025", "reason": "uneven hay"}
    page = lena.post("/settings/rule/cores", data=form, follow_redirects=True).text
    assert "cores is 25 from now on." in page
    assert "uneven hay (from our trial of 2025)" in page and "Lena Roy" in page
    with season.read() as session:
        assert str(practice_in_force(session).number("cores")) == "25"


def test_a_rule_without_a_reason_or_out_of_its_range_does_not_change(
    client_as: ClientAs, season: Database
) -> None:
    lena = client_as("lena")
    for form in (
        {"value": "25", "source": "s", "reason": " "},
        {"value": "-1", "source": "s", "reason": "r"},
        {"value": "", "source": "s", "reason": "r"},
    ):
        assert lena.post("/settings/rule/cores", data=form).status_code == 422
    with season.read() as session:
        assert not practice_in_force(session).is_own("cores")


def test_the_ovens_on_the_bench_are_offered_beside_a_new_load(client_as: ClientAs, season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        code = session.get_one(StandingRow, make_weighed(session).id).code
    lena = client_as("lena")
    for name, left in (("oven 1", ""), ("oven 2", "yes")):
        form = {"kind": "oven", "name": name, "facts": "240 litres", "reason": "its plate", "left": left}
        lena.post("/settings/equipment", data=form)
    page = lena.get(f"/oven/new?code={code}").text
    assert "<option>oven 1</option>" in page and 'value="oven 1"' in page and "<option>oven 2" not in page


def test_an_oven_is_described_changed_and_leaves_the_bench(client_as: ClientAs) -> None:
    lena = client_as("lena")
    form = {"kind": "oven", "name": "oven 1", "facts": "240 litres", "reason": "its plate"}
    page = lena.post("/settings/equipment", data=form, follow_redirects=True).text
    assert "oven 1 is kept as version 1." in page and "240 litres" in page
    page = lena.post(
        "/settings/equipment", data={**form, "left": "yes", "reason": "sold"}, follow_redirects=True
    ).text
    assert "240 litres (no more in use)" in page and "sold" in page and "its plate" in page
    assert lena.get("/settings").text.count("/settings/oven/oven%201") == 1
