"""The second factor: codes as the standard has them, each once; paper for the day the phone is lost."""

from __future__ import annotations

from datetime import timedelta

import pyotp
import pytest
from sqlalchemy import select

from tests.makers import act, at, done, refused
from tracker.lookups.access import has_factor, wants_factor
from tracker.steps.second_factor import (
    PAPER_CODES,
    STEP_SECONDS,
    WrongCode,
    begin_factor,
    confirm_factor,
    show_code,
    take_away_factor,
)
from tracker.steps.set_practice import set_practice
from tracker.steps.sign_in import account_of, make_account
from tracker.storage.access import RecoveryCode, SecondFactor
from tracker.storage.engine import Database

KEY = "a key that only tests encrypt with"


@pytest.mark.parametrize(
    ("seconds", "code"),
    # RFC 6238, appendix B, SHA-1, eight digits; secret "12345678901234567890".
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_the_published_codes_come_out(seconds: int, code: str) -> None:
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    assert pyotp.TOTP(secret, digits=8).generate_otp(seconds // STEP_SECONDS) == code


def enrolled(season: Database, minute: float = 0) -> tuple[pyotp.TOTP, list[str]]:
    """Carl, whose phone is set up; it and his codes for paper."""
    done(season, lambda s: make_account(s, "carl", "lena", at(0)))
    made = done(
        season, lambda s: begin_factor(s, account_of(s, "carl"), KEY, at(minute), programme="Larkmoor")
    )
    phone = pyotp.TOTP(made.secret)
    code = phone.at(at(minute))
    papers = done(season, lambda s: confirm_factor(s, account_of(s, "carl"), code, KEY, at(minute)))
    return phone, papers


def shown(season: Database, code: str, seconds: float = 0) -> bool:
    when = at(0) + timedelta(seconds=seconds)
    return bool(done(season, lambda s: show_code(s, account_of(s, "carl"), code, KEY, when)))


def test_a_phone_counts_only_once_it_has_shown_a_code(season: Database) -> None:
    done(season, lambda s: make_account(s, "carl", "lena", at(0)))
    done(season, lambda s: begin_factor(s, account_of(s, "carl"), KEY, at(0), programme="Larkmoor"))
    assert shown(season, "") is False, "no code is asked for yet"
    found = refused(season, lambda s: confirm_factor(s, account_of(s, "carl"), "000000", KEY, at(0)))
    assert found.code == "code-wrong"
    with season.read() as session:
        assert not has_factor(session, account_of(session, "carl").id)


def test_a_code_is_good_for_its_half_minute_and_the_one_after_and_no_longer(season: Database) -> None:
    phone, _ = enrolled(season)
    later = 10 * STEP_SECONDS
    code = phone.at(at(0) + timedelta(seconds=later))
    for wrong in (later - STEP_SECONDS, later + 2 * STEP_SECONDS):
        with pytest.raises(WrongCode):
            shown(season, code, wrong)
    assert shown(season, f"{code[:3]} {code[3:]}", later + STEP_SECONDS) is False


def test_no_code_is_used_twice_nor_one_older_than_the_last(season: Database) -> None:
    phone, _ = enrolled(season)
    now, before = 20 * STEP_SECONDS, phone.at(at(0) + timedelta(seconds=19 * STEP_SECONDS))
    code = phone.at(at(0) + timedelta(seconds=now))
    assert shown(season, code, now) is False
    for again in (code, before):
        with pytest.raises(WrongCode):
            shown(season, again, now)


def test_the_code_that_set_it_up_does_not_sign_in(season: Database) -> None:
    phone, _ = enrolled(season)
    with pytest.raises(WrongCode):
        shown(season, phone.at(at(0)), 1)


def test_each_code_on_paper_works_once(season: Database) -> None:
    _, papers = enrolled(season)
    assert len(set(papers)) == PAPER_CODES and all(len(paper) == 29 for paper in papers)
    assert shown(season, papers[0].lower()) is True
    with pytest.raises(WrongCode):
        shown(season, papers[0])
    assert shown(season, papers[1].replace("-", " ")) is True


@pytest.mark.parametrize("code", ["", "12345", "abcdef", "0" * 500, "１２３４５６", "12345\x00"])
def test_what_is_no_code_is_refused_like_a_wrong_password(season: Database, code: str) -> None:
    enrolled(season)
    with pytest.raises(WrongCode) as caught:
        shown(season, code, 300)
    assert (caught.value.code, caught.value.field) == ("sign-in-failed", "password")


def test_no_secret_is_kept_as_it_is_and_another_key_opens_nothing(season: Database) -> None:
    phone, papers = enrolled(season)
    with season.read() as session:
        kept = repr([vars(row) for row in session.scalars(select(SecondFactor))])
        kept += repr([vars(row) for row in session.scalars(select(RecoveryCode))])
    assert phone.secret not in kept
    assert not any(paper.replace("-", "") in kept for paper in papers)
    with pytest.raises(Exception, match="cannot be read") as caught:
        done(season, lambda s: show_code(s, account_of(s, "carl"), "123456", "another key", at(5)))
    assert getattr(caught.value, "code", "") == "second-factor-unreadable"


def test_a_factor_in_use_is_not_replaced_by_whoever_sits_at_the_screen(season: Database) -> None:
    enrolled(season)
    found = refused(
        season, lambda s: begin_factor(s, account_of(s, "carl"), KEY, at(9), programme="Larkmoor")
    )
    assert found.code == "second-factor-set"


def test_a_lost_phone_is_taken_away_with_its_paper(season: Database) -> None:
    _, papers = enrolled(season)
    done(season, lambda s: take_away_factor(s, account_of(s, "carl")))
    assert shown(season, "") is False
    with season.read() as session:
        assert session.scalars(select(RecoveryCode)).all() == []
    assert papers
    found = refused(season, lambda s: take_away_factor(s, account_of(s, "carl")))
    assert found.code == "no-second-factor"


@pytest.mark.parametrize(
    ("setting", "wanted"),
    [("no", ()), ("lead", ("lead",)), ("staff", ("technician", "clerk", "analyst", "lead"))],
)
def test_whom_the_programme_asks_is_a_setting(
    season: Database, setting: str, wanted: tuple[str, ...]
) -> None:
    done(
        season,
        lambda s: set_practice(
            s, "second_factor", setting, act(s, "lena", 1), source="our office", reason="wanted"
        ),
    )
    with season.read() as session:
        found = tuple(
            role for role in ("technician", "clerk", "analyst", "lead") if wants_factor(session, role)
        )
    assert found == wanted
