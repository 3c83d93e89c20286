"""The first lead and the links for people, from the command line; nobody has an account by default."""

from __future__ import annotations

import re
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from tests.cli.conftest import Terminal
from tests.makers import at
from tracker.steps import sign_in as sign_in_step
from tracker.steps.sign_in import LINK_HOURS, secret_hash, sign_in, use_link
from tracker.storage.engine import Database

BASE = "https://hay.example"


@pytest.fixture(autouse=True)
def told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRACKER_BASE_URL", BASE)
    monkeypatch.setattr(sign_in_step, "HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


def rows(terminal: Terminal, question: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(terminal.database.removeprefix("sqlite:///")) as connection:
        found = connection.execute(question).fetchall()
    connection.close()
    return found


def refused(terminal: Terminal, *words: str) -> dict[str, object]:
    """What a command without a person in it was refused with; it is kept."""
    before = terminal.refusals()
    answer = terminal.run(*words)
    assert (answer.code, answer.out, terminal.refusals()) == (1, "", before + 1)
    return terminal.kept()


def test_a_new_season_has_no_account(terminal: Terminal) -> None:
    assert rows(terminal, "select * from account") == []


def test_the_first_lead_comes_from_the_command_line(terminal: Terminal) -> None:
    answer = terminal.ask("add-lead", "ida", "Ida Rowe")
    link = answer.splitlines()[0]
    assert re.fullmatch(rf"{BASE}/link/[\w-]{{43}}", link)
    assert "within 72 h" in answer and "nobody else" in answer
    assert rows(terminal, "select key, name, role from party where key = 'ida'") == [
        ("ida", "Ida Rowe", "lead")
    ]
    assert rows(terminal, "select party_key, password_hash, active from account") == [("ida", None, 1)]
    token = link.rsplit("/", 1)[1]
    assert rows(terminal, "select token_hash, purpose, made_by from access_link") == [
        (secret_hash(token), "invite", "command line")
    ]


def test_the_link_of_the_first_lead_opens_the_door(terminal: Terminal) -> None:
    token = str(terminal.ask_json("add-lead", "ida", "Ida Rowe")["link"]).rsplit("/", 1)[1]
    season = Database(terminal.database, clock=lambda: at(1))
    with season.act("test", "", {}) as session:
        use_link(session, token, "nine green gates", at(1))
        assert sign_in(session, "ida", "nine green gates", at(1))
    season.close()


def test_a_lead_who_is_known_gets_the_account_only(terminal: Terminal) -> None:
    terminal.ask("add-lead", "lena", "whatever is written here")
    assert rows(terminal, "select name, role from party where key = 'lena'") == [("Lena Roy", "lead")]
    assert rows(terminal, "select party_key from account") == [("lena",)]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("add-lead", "carl", "Carl Otis"), "key-taken"),
        (("add-lead", "van", "Valley Van"), "key-taken"),
        (("add-lead", "No Key", "Ida"), "not-a-key"),
        (("add-lead", "ida", "  "), "name-missing"),
        (("invite", "nobody"), "unknown-party"),
        (("invite", "van"), "not-a-person"),
        (("reset-link", "carl"), "no-account"),
    ],
)
def test_nobody_else_gets_a_link(terminal: Terminal, words: tuple[str, ...], code: str) -> None:
    assert refused(terminal, *words)["code"] == code
    assert rows(terminal, "select * from account") == rows(terminal, "select * from access_link") == []


def test_an_invitation_and_then_a_reset(terminal: Terminal) -> None:
    first = terminal.ask_json("invite", "carl")
    assert (first["purpose"], first["key"]) == ("invite", "carl")
    assert refused(terminal, "invite", "carl")["code"] == "has-an-account"
    second = terminal.ask_json("reset-link", "carl")
    assert second["purpose"] == "reset" and second["link"] != first["link"]
    assert second["until"] == (at(0) + timedelta(hours=LINK_HOURS["reset"])).isoformat()


def test_no_link_is_kept_with_the_season(terminal: Terminal) -> None:
    token = str(terminal.ask_json("add-lead", "ida", "Ida Rowe")["link"]).rsplit("/", 1)[1]
    path = Path(terminal.database.removeprefix("sqlite:///"))
    files = [one for one in path.parent.iterdir() if one.name.startswith(path.name)]
    assert files and not any(token.encode() in one.read_bytes() for one in files)


def test_without_an_address_it_is_said_where_the_link_goes(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TRACKER_BASE_URL")
    answer = terminal.ask("add-lead", "ida", "Ida Rowe")
    path = answer.splitlines()[0].removeprefix("https://localhost")
    assert f"put {path} behind the address that `tracker serve` names" in answer
