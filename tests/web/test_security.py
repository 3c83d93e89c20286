"""What docs/security.md promises and no other test shows: hostile names, forged lines, odd files, spoofed fields."""

from __future__ import annotations

import io
import logging
import re
import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select, text
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from tests.cli.stages import Stages, build
from tests.makers import BASE, act, at, done, everything, life, made, make_bag, make_lot, make_signed_away
from tests.result_files import row, written
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tests.web.test_guard import addresses
from tracker.errors import Refused
from tracker.lookups.last_entry import last_entry
from tracker.steps.hold import hold
from tracker.steps.print_tags import print_tags
from tracker.steps.sign_in import check_password, make_account, use_link
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal
from tracker.web.shared.log import MaskingFormatter

MARKS = "<script>alert(1)</script>{{7*7}}${7*7}"


@pytest.fixture(scope="module")
def stages(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Stages:
    return build(season_template, tmp_path_factory.mktemp("security") / "season.db")


@pytest.fixture(scope="module")
def answers(stages: Stages, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """Every page as the lead has it, where every field, producer and person is called something hostile."""
    path = shutil.copy(stages.path, tmp_path_factory.mktemp("hostile") / "full.db")
    with closing(Database(f"sqlite:///{path}", clock=lambda: at(2000))) as season:
        with season.act("rename", "", {}) as session:
            for table in ("field", "producer", "party"):
                session.execute(text(f"update {table} set name = name || :marks"), {"marks": MARKS})
        app = made_app(season)
        client = sign_in_as(app, "lena")
        yield {one: client.get(one, buffered=True) for one in addresses(app, stages, season)}


def test_no_name_is_run_or_calculated_in_any_page(answers: dict[str, Any]) -> None:
    shown = 0
    for address, answer in answers.items():
        if answer.mimetype != "text/html":
            continue
        assert "<script>alert" not in answer.text, address
        shown += "&lt;script&gt;alert(1)&lt;/script&gt;{{7*7}}${7*7}" in answer.text
    assert shown > 10, "the names are hardly shown at all"


def test_every_answer_says_what_it_is_and_in_which_letters(answers: dict[str, Any]) -> None:
    for address, answer in answers.items():
        kind = answer.headers["Content-Type"]
        assert kind, address
        if answer.mimetype.startswith("text/") and not address.startswith("/static/"):
            assert "charset=utf-8" in kind.lower(), address


def test_nothing_but_our_own_files_is_kept_by_any_browser(answers: dict[str, Any]) -> None:
    kept = [one for one, answer in answers.items() if answer.headers.get("Cache-Control") != "no-store"]
    # The field's shells hold nothing of anybody; a phone keeps them so that it opens with no network.
    assert [one for one in kept if not one.startswith(("/static/", "/field/"))] == []


@pytest.mark.parametrize("typed", ["' OR 1=1--", "' or ''='", '"; drop table lot; --', "%", "_", "*"])
def test_no_search_field_finds_more_for_being_asked_in_sql(
    client_as: ClientAs, season: Database, typed: str
) -> None:
    made(season, make_bag)
    client, before = client_as("carl"), everything(season)
    found = client.get("/find", query_string={"text": typed})
    assert found.status_code in (404, 422)
    assert client.get(f"/way/{typed}").status_code in (404, 422)
    tried = client.post("/sign-in", data={"name": typed, "password": typed})
    assert tried.status_code == 422 and "Name and password do not go together." in tried.text
    after = everything(season)
    for noted in ("access_entry", "attempt"):
        before.pop(noted), after.pop(noted)
    assert after == before


@pytest.mark.parametrize(
    "address", ["/.git/config", "/.env", "/static/../../setup.cfg", "/static/%2e%2e/app.py"]
)
def test_nothing_beside_the_pages_is_served(client: FlaskClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_the_program_never_runs_in_debug_mode(app: Flask) -> None:
    assert app.debug is False and app.config["PROPAGATE_EXCEPTIONS"] is None
    assert "/console" not in {rule.rule for rule in app.url_map.iter_rules()}


@pytest.mark.parametrize("name", ["../../etc/run.csv", "..\\..\\run.csv", "/etc/run.csv", "C:\\run.csv"])
def test_a_folder_in_a_files_name_leads_nowhere(
    client_as: ClientAs, season: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = set(tmp_path.parent.rglob("*"))
    content = written([row("7K3M9QTX")])
    client_as("ana").post("/results", data={"source": "x", "file": (io.BytesIO(content), name)})
    new = {path for path in set(tmp_path.parent.rglob("*")) - before if path.is_file()}
    assert {path.name for path in new if "run" in path.name} == set()
    with season.read() as session:
        (given,) = session.scalars(select(KeptRefusal.given))
    assert given["file"].endswith("run.csv") and not set(given["file"]) & set("/\\")


def test_fields_that_are_not_on_a_form_change_nothing(client_as: ClientAs, season: Database) -> None:
    sample = made(season, make_signed_away)
    season.clock = lambda: at(240)
    client = client_as("carl")
    with season.read() as session:
        seen = last_entry(session, sample.id)
    code = str(life(season, sample)[2].data["code"])
    form = {"condition": "dry", "seal_state": "intact", "seal_read": "S-004417", "seen": str(seen)}
    forged = {"by": "lena", "role": "lead", "holder": "ulf", "occurred_at": "2020-01-01", "hold": "forged"}
    assert client.post(f"/desk/receive/{code}", data={**form, **forged}).status_code == 303
    event = life(season, sample)[-1]
    assert (event.kind, event.by, event.role) == ("received", "carl", "clerk")
    assert event.occurred_at.year == 2026 and "forged" not in repr(event.data)


def test_of_two_receivers_at_once_one_wins_and_the_other_is_told(
    client_as: ClientAs, season: Database
) -> None:
    sample = made(season, make_signed_away)
    season.clock = lambda: at(240)
    with season.read() as session:
        seen = last_entry(session, sample.id)
    code = str(life(season, sample)[2].data["code"])
    form = {"condition": "dry", "seal_state": "intact", "seal_read": "S-004417", "seen": str(seen)}
    carl, lena = client_as("carl"), client_as("lena")
    assert carl.post(f"/desk/receive/{code}", data=form).status_code == 303
    second = lena.post(f"/desk/receive/{code}", data=form)
    assert second.status_code == 409 and "moved-on" in second.text
    assert [event.kind for event in life(season, sample)].count("received") == 1


def stub_of(season: Database, field: str, note: str) -> str:
    """The address of a stub that opens a lot of this field."""

    def printed(session: Any) -> str:
        lot = make_lot(session, field=field, note=note)
        _, tags = print_tags(
            session, [lot.id], act(session, "tove", 6), base_url=BASE, layout={"stock": "roll"}
        )
        sample = make_bag_with(session, lot.id, tags[0].tag.code)
        hold(session, sample, act(session, "carl", 90), reason="looks like hay of his neighbour")
        return f"/T/{tags[0].token}"

    return str(done(season, printed))


def make_bag_with(session: Any, lot: int, code: str) -> Any:
    from tests.makers import make_cored, make_plan
    from tracker.steps.bag_cores import bag_cores

    sample = make_cored(session, make_plan(session, lot))
    bag_cores(session, sample, code, act(session, "tove", 65))
    return sample


def test_a_stub_opens_its_own_lot_alone_and_no_note_of_the_staff(
    client: FlaskClient, season: Database
) -> None:
    mine = stub_of(season, "Long field", "pays late")
    other = stub_of(season, "Hill", "owes us a probe")
    page = client.get(mine)
    assert page.status_code == 200 and "Long field" in page.text and "Hill" not in page.text
    for words in ("pays late", "owes us", "neighbour"):
        assert words not in page.text, words
    assert "Hill" in client.get(other).text
    # Its own number, and that of the other lot, lead a producer nowhere.
    for address in ("/way/lot 1", "/way/lot 2", "/find?text=lot 2", "/results/report/1"):
        assert "Hill" not in client.get(address, follow_redirects=True).text


def test_of_the_most_common_passwords_none_is_taken() -> None:
    # The first 3,000 of the list that comes with zxcvbn (common passwords of published leaks).
    common = [one for one in FREQUENCY_LISTS["passwords"][:3000] if len(one) >= 8]
    assert len(common) > 300
    for password in common:
        with pytest.raises(Refused) as caught:
            check_password(password, "carl")
        assert caught.value.code == "password-common"


@pytest.mark.parametrize("length", [8, 64, 128, 200])
def test_a_long_password_is_taken_and_compared_whole(season: Database, length: int) -> None:
    password = "hay bale " * 30
    token = done(season, lambda s: make_account(s, "carl", "lena", at(0)))
    assert done(season, lambda s: use_link(s, token, password[:length], at(0))) == "carl"


def test_passwords_may_be_pasted_and_filled_in_by_a_program(client: FlaskClient) -> None:
    pages = client.get("/sign-in").text + client.get("/link/x").text
    boxes = re.findall(r"<input[^>]*type=\"password\"[^>]*>", pages)
    assert [re.search(r'autocomplete="([^"]+)"', box)[1] for box in boxes] == [  # type: ignore[index]
        "current-password",
        "new-password",
    ]
    assert "onpaste" not in pages and "maxlength" not in " ".join(boxes)


def logged(name: str, message: str, *args: object) -> str:
    """The line as the server writes it."""
    record = logging.LogRecord(name, logging.INFO, "x.py", 1, message, args, None)
    record.created, record.msecs = 1_782_000_000.25, 250.0
    return MaskingFormatter("%(asctime)s %(levelname)s %(message)s").format(record)


def test_a_line_of_the_log_has_its_time_in_utc() -> None:
    # 1,782,000,000 s after 1970 is 2026-06-21 00:00:00 UTC.
    assert logged("tracker.access", "GET /") == "2026-06-21T00:00:00.250Z INFO GET /"


@pytest.mark.parametrize("break_", ["\n", "\r", "\r\n", "\x0b", "\x0c", "\x85", "\u2028", "\x1b[2K", "\x00"])
def test_no_name_and_no_address_can_begin_a_line_of_the_log(break_: str) -> None:
    forged = f"carl{break_}2026-06-21T00:00:00.250Z INFO 127.0.0.1 lena GET /people 200"
    line = logged("tracker.access", "%s %s", "10.0.0.5", forged)
    assert line.isprintable() and len(line.splitlines()) == 1
    assert line.startswith("2026-06-21T00:00:00.250Z INFO 10.0.0.5 carl\\u")


def test_an_address_with_a_line_break_in_it_is_one_line(
    client: FlaskClient, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, logger="tracker.access")
    caplog.handler.setFormatter(MaskingFormatter("%(message)s"))
    client.get("/nowhere%0d%0a127.0.0.1 lena GET /people 200")
    (line,) = caplog.text.splitlines()
    assert "\\u000d\\u000a" in line


def test_no_secret_is_in_anything_that_is_logged(season: Database, caplog: pytest.LogCaptureFixture) -> None:
    app = made_app(season, strict=False)
    client = app.test_client()
    caplog.set_level(logging.DEBUG)
    token = done(season, lambda s: make_account(s, "carl", "lena", at(0)))
    client.get(f"/link/{token}")
    client.post(f"/link/{token}", data={"password": "nine green gates"})
    answer = client.post("/sign-in", data={"name": "carl", "password": "nine green gates", "code": "314159"})
    cookie = next(
        one.split("=", 1)[1].split(";")[0]
        for one in answer.headers.getlist("Set-Cookie")
        if one.startswith("__Host-tracker=")
    )
    client.post("/sign-in", data={"name": "mistyped secret", "password": "other words"})
    stub = stub_of(season, "Long field", "").removeprefix("/T/")
    client.get(f"/T/{stub}")
    page = client.post("/second-factor").text
    secret = re.search(r'<p class="code">([A-Z2-7 ]+)</p>', page)
    assert secret and len(caplog.records) > 5
    told = caplog.text
    for one in (token, "nine green gates", "314159", cookie, "mistyped secret", "other words", stub):
        assert one not in told, one
    assert secret[1].replace(" ", "") not in told and secret[1] not in told
