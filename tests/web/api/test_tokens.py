"""Tokens: shown once, kept as a hash, ended for ever, and counted where they are wrong."""

from __future__ import annotations

import pytest
from flask import Flask
from sqlalchemy import select

from tests.makers import act, done, refused
from tests.web.api.conftest import Program, ProgramAs
from tracker.lookups.clients import clients
from tracker.steps.make_client import make_client, revoke_client
from tracker.steps.sign_in import make_account, set_active
from tracker.storage.access import AccessEntry
from tracker.storage.clients import ApiClient
from tracker.storage.engine import Database
from tracker.web.api.door import WRONG_TOKENS


def test_the_token_is_kept_nowhere_but_as_its_hash(season: Database, program_as: ProgramAs) -> None:
    program = program_as("carl", "read")
    assert program.get("/lots").status_code == 200
    with season.read() as session:
        row = session.scalars(select(ApiClient)).one()
        assert program.token not in repr(vars(row)) and len(row.token_hash) == 64
        assert len(program.token) >= 43, "256 bits in base64"


def test_a_revoked_token_opens_nothing_and_says_no_more_than_a_wrong_one(
    season: Database, program_as: ProgramAs
) -> None:
    program = program_as("carl")
    done(season, lambda s: revoke_client(s, program.name, act(s, "lena", 5), reason="the PC was sold"))
    ended = program.get("/lots")
    wrong = Program(program.http, "never-was", "").get("/lots")
    assert (ended.status_code, ended.json) == (401, wrong.json)
    with season.read() as session:
        (line,) = clients(session)
        assert line.why == "the PC was sold" and line.ended_at is not None


def test_a_person_who_is_shut_out_takes_his_programs_along(season: Database, program_as: ProgramAs) -> None:
    program = program_as("carl")
    done(season, lambda s: make_account(s, "carl", "lena", season.clock()))
    assert program.get("/lots").status_code == 200
    done(season, lambda s: set_active(s, "carl", False, season.clock()))
    assert program.get("/lots").status_code == 401


def test_after_many_wrong_tokens_an_address_is_told_nothing_at_all(
    season: Database, program_as: ProgramAs
) -> None:
    program = program_as("carl")
    wrong = Program(program.http, "never-was", "")
    assert {wrong.get("/lots").status_code for _ in range(WRONG_TOKENS)} == {401}
    assert wrong.get("/lots").status_code == 429
    assert program.get("/lots").status_code == 429, "nor is it said that this one would be right"
    with season.read() as session:
        noted = session.scalars(select(AccessEntry.what).where(AccessEntry.about.contains("api."))).all()
    assert set(noted) == {"sign-in refused"}


def test_who_let_a_program_in_is_noted_without_its_token(season: Database, app: Flask) -> None:
    _, token = done(season, lambda s: make_client(s, "Balance", "carl", ["intake"], act(s, "lena", 0)))
    with season.read() as session:
        (entry,) = session.scalars(select(AccessEntry)).all()
    assert (entry.what, entry.who, entry.about) == ("program let in", "carl", "Balance, by lena")
    assert token not in repr(vars(entry))


@pytest.mark.parametrize(
    ("by", "name", "party", "scopes", "code"),
    [
        ("ana", "Balance", "carl", ["read"], "not-allowed"),
        ("lena", " ", "carl", ["read"], "name-missing"),
        ("lena", "Balance", "store", ["read"], "not-a-person"),
        ("lena", "Balance", "nobody", ["read"], "unknown-party"),
        ("lena", "Balance", "carl", [], "scope-missing"),
        ("lena", "Balance", "carl", ["read", "all"], "not-a-scope"),
    ],
)
def test_a_program_is_let_in_only_by_the_lead_for_a_person_with_scopes_that_there_are(
    season: Database, by: str, name: str, party: str, scopes: list[str], code: str
) -> None:
    assert refused(season, lambda s: make_client(s, name, party, scopes, act(s, by, 0))).code == code


def test_a_name_is_used_once_and_for_ever(season: Database, program_as: ProgramAs) -> None:
    program = program_as("carl")
    done(season, lambda s: revoke_client(s, program.name, act(s, "lena", 5), reason="lost"))
    again = refused(season, lambda s: make_client(s, program.name, "carl", ["read"], act(s, "lena", 6)))
    assert again.code == "client-known"
    ended = refused(season, lambda s: revoke_client(s, program.name, act(s, "lena", 6), reason="lost"))
    assert ended.code == "client-ended"
    unknown = refused(season, lambda s: revoke_client(s, "Nobody's", act(s, "lena", 6), reason="lost"))
    assert unknown.code == "unknown-client"
