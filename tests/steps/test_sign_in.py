"""Letting people in: an invitation once, then a password; no sign-in, link or try outlives what it is for."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher
from sqlalchemy import func, select

from tests.makers import at, done, everything, refused
from tracker.lookups.access import IDLE, LONGEST, NOTE_AFTER, accounts, signed_in
from tracker.steps import sign_in as doing
from tracker.steps.sign_in import (
    LINK_HOURS,
    TRIES,
    TRIES_WITHIN,
    attempts_as,
    check_password,
    make_account,
    make_reset,
    note_attempt,
    secret_hash,
    set_active,
    sign_in,
    sign_out,
    still_here,
    use_link,
)
from tracker.storage.access import AccessLink, Account, Attempt, SignedIn
from tracker.storage.engine import Database
from tracker.storage.kept import KeptRefusal

NOW = at(0).astimezone(UTC)
PASSWORD = "nine green gates"
REAL = doing.HASHER


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The real hash with the least work, so that fifty tests take no minute; one test looks at the real one."""
    monkeypatch.setattr(doing, "HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    yield


def invited(season: Database, key: str = "carl") -> str:
    token = done(season, lambda s: make_account(s, key, "lena", NOW))
    assert isinstance(token, str)
    return token


def let_in(season: Database, key: str = "carl") -> None:
    token = invited(season, key)
    done(season, lambda s: use_link(s, token, PASSWORD, NOW))


def come_in(season: Database, key: str = "carl", when: datetime = NOW) -> str:
    token = done(season, lambda s: sign_in(s, key, PASSWORD, when))
    assert isinstance(token, str)
    return token


def who(season: Database, token: str, when: datetime = NOW) -> str | None:
    with season.read() as session:
        found = signed_in(session, token, when)
    return found.party.key if found else None


def test_the_password_hash_is_as_costly_as_owasp_asks() -> None:
    # OWASP Password Storage Cheat Sheet: Argon2id with at least 19 MiB, two iterations, one lane.
    hashed = REAL.hash(PASSWORD)
    assert hashed.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert REAL.verify(hashed, PASSWORD)


def test_an_invitation_sets_the_password_and_the_password_opens(season: Database) -> None:
    token = invited(season)
    assert done(season, lambda s: use_link(s, token, PASSWORD, NOW)) == "carl"
    assert who(season, come_in(season)) == "carl"


def test_no_secret_is_kept_as_it_is(season: Database) -> None:
    link = invited(season)
    done(season, lambda s: use_link(s, link, PASSWORD, NOW))
    token = come_in(season)
    kept = repr(everything(season))
    assert link not in kept and token not in kept and PASSWORD not in kept
    assert secret_hash(link) in kept and secret_hash(token) in kept


def test_a_drawn_token_is_long_enough_for_a_plain_hash(season: Database) -> None:
    # OWASP ASVS 5.0.0, 6.5.2: from 112 bits on. 43 characters of base64 hold 256.
    let_in(season)
    tokens = {come_in(season) for _ in range(5)}
    assert len(tokens) == 5 and all(len(token) == 43 for token in tokens)


def test_the_name_may_come_in_capitals_and_with_blanks(season: Database) -> None:
    let_in(season)
    assert who(season, done(season, lambda s: sign_in(s, "  CARL ", PASSWORD, NOW))) == "carl"


@pytest.mark.parametrize(
    ("key", "password"), [("carl", "wrong word"), ("nobody", PASSWORD), ("", ""), ("ana", "")]
)
def test_wrong_name_and_wrong_password_are_one_answer(season: Database, key: str, password: str) -> None:
    let_in(season)
    invited(season, "ana")
    complaint = refused(season, lambda s: sign_in(s, key, password, NOW))
    assert (complaint.code, complaint.message) == ("sign-in-failed", "Name and password do not go together.")


@pytest.mark.parametrize("key", ["carl", "ana", "nobody"])
def test_a_hash_is_compared_whoever_asks(season: Database, key: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Known, invited only, unknown: the same work, or the time would tell which of them it is.
    let_in(season)
    invited(season, "ana")
    compared: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, hash: str | bytes, password: str | bytes) -> bool:
            compared.append(str(hash).split("$")[1])
            return super().verify(hash, password)

    monkeypatch.setattr(doing, "HASHER", Counting(time_cost=1, memory_cost=8, parallelism=1))
    refused(season, lambda s: sign_in(s, key, "wrong word", NOW))
    assert compared == ["argon2id"]


def test_a_link_works_once(season: Database) -> None:
    token = invited(season)
    done(season, lambda s: use_link(s, token, PASSWORD, NOW))
    assert refused(season, lambda s: use_link(s, token, "other words here", NOW)).code == "link-unusable"


@pytest.mark.parametrize(("make", "purpose"), [(make_account, "invite"), (make_reset, "reset")])
def test_a_link_is_good_for_its_hours(season: Database, make: object, purpose: str) -> None:
    token = invited(season)
    if make is make_reset:
        token = str(done(season, lambda s: make_reset(s, "carl", "lena", NOW)))
    end = NOW + timedelta(hours=LINK_HOURS[purpose])
    late = end + timedelta(seconds=1)
    assert refused(season, lambda s: use_link(s, token, PASSWORD, late)).code == "link-unusable"
    assert done(season, lambda s: use_link(s, token, PASSWORD, end)) == "carl"


def test_a_link_that_never_was(season: Database) -> None:
    complaint = refused(season, lambda s: use_link(s, "x" * 43, PASSWORD, NOW))
    assert (complaint.code, complaint.field) == ("link-unusable", "link")


def test_a_refused_password_does_not_use_the_link_up(season: Database) -> None:
    token = invited(season)
    assert refused(season, lambda s: use_link(s, token, "short", NOW)).code == "password-short"
    assert done(season, lambda s: use_link(s, token, PASSWORD, NOW)) == "carl"


def test_a_new_link_ends_the_one_before(season: Database) -> None:
    first = invited(season)
    second = str(done(season, lambda s: make_reset(s, "carl", "lena", NOW)))
    assert refused(season, lambda s: use_link(s, first, PASSWORD, NOW)).code == "link-unusable"
    assert done(season, lambda s: use_link(s, second, PASSWORD, NOW)) == "carl"


def test_a_new_password_ends_every_sign_in_and_counts_tries_anew(season: Database) -> None:
    let_in(season)
    tokens = [come_in(season), come_in(season)]
    for _ in range(TRIES):
        done(season, lambda s: note_attempt(s, f"{attempts_as('carl')} from 10.0.0.9", NOW))
    link = str(done(season, lambda s: make_reset(s, "carl", "lena", NOW)))
    assert [who(season, token) for token in tokens] == ["carl", "carl"]
    done(season, lambda s: use_link(s, link, "other words here", NOW))
    assert [who(season, token) for token in tokens] == [None, None]
    done(season, lambda s: note_attempt(s, f"{attempts_as('carl')} from 10.0.0.9", NOW))


@pytest.mark.parametrize(
    ("password", "code"),
    [
        ("", "password-short"),
        ("seven77", "password-short"),
        ("x" * 201, "password-long"),
        ("password", "password-common"),
        ("PassWord", "password-common"),
        ("iloveyou", "password-common"),
        ("marit-sund", "password-common"),
    ],
)
def test_a_password_that_will_not_do(season: Database, password: str, code: str) -> None:
    complaint = refused(season, lambda s: check_password(password, "marit-sund"))
    assert (complaint.code, complaint.field) == (code, "password")


@pytest.mark.parametrize(
    "password", ["åtte høye trær", "        x", "x" * 200, "kq7tzr2m", "nine green gates"]
)
def test_any_characters_will_do(password: str) -> None:
    check_password(password, "carl")


def test_a_refused_password_is_not_kept_with_the_refusal(season: Database) -> None:
    token = invited(season)
    refused(season, lambda s: use_link(s, token, "iloveyou", NOW))
    with season.read() as session:
        kept = session.scalars(select(KeptRefusal)).all()
    assert "iloveyou" not in repr([(row.given, row.message, row.remedy) for row in kept])


def test_only_people_get_an_account_and_only_one(season: Database) -> None:
    assert refused(season, lambda s: make_account(s, "van", "lena", NOW)).code == "not-a-person"
    assert refused(season, lambda s: make_account(s, "nobody", "lena", NOW)).code == "unknown-party"
    invited(season)
    assert refused(season, lambda s: make_account(s, "carl", "lena", NOW)).code == "has-an-account"
    assert refused(season, lambda s: make_reset(s, "ana", "lena", NOW)).code == "no-account"


def test_a_sign_in_ends_when_nobody_uses_it(season: Database) -> None:
    let_in(season)
    token = come_in(season)
    assert who(season, token, NOW + IDLE) == "carl"
    assert who(season, token, NOW + IDLE + timedelta(seconds=1)) is None


def test_a_sign_in_in_use_lasts_a_shift_and_no_longer(season: Database) -> None:
    let_in(season)
    token = come_in(season)
    done(season, lambda s: still_here(s, token, NOW + timedelta(hours=6)))
    assert who(season, token, NOW + LONGEST) == "carl"
    assert who(season, token, NOW + LONGEST + timedelta(seconds=1)) is None


def test_use_is_noted_now_and_then_and_not_for_every_page(season: Database) -> None:
    let_in(season)
    token = come_in(season)
    with season.read() as session:
        found = [
            signed_in(session, token, NOW + wait) for wait in (NOTE_AFTER, NOTE_AFTER + timedelta(seconds=1))
        ]
    assert [one.stale for one in found if one] == [False, True]


def test_signing_out_ends_this_sign_in_only(season: Database) -> None:
    let_in(season)
    here, there = come_in(season), come_in(season)
    done(season, lambda s: sign_out(s, here, NOW))
    done(season, lambda s: still_here(s, here, NOW))
    assert (who(season, here), who(season, there)) == (None, "carl")


def test_signing_out_twice_or_as_nobody_does_nothing(season: Database) -> None:
    let_in(season)
    token = come_in(season)
    done(season, lambda s: sign_out(s, token, NOW))
    before = everything(season)
    done(season, lambda s: sign_out(s, token, NOW + timedelta(hours=1)))
    done(season, lambda s: sign_out(s, "", NOW))
    assert everything(season) == before


def test_whoever_is_shut_out_is_out_at_once_and_by_no_way_in_again(season: Database) -> None:
    let_in(season)
    token = come_in(season)
    link = str(done(season, lambda s: make_reset(s, "carl", "lena", NOW)))
    done(season, lambda s: set_active(s, "carl", False, NOW))
    assert who(season, token) is None
    assert refused(season, lambda s: sign_in(s, "carl", PASSWORD, NOW)).code == "sign-in-failed"
    assert refused(season, lambda s: use_link(s, link, "other words here", NOW)).code == "link-unusable"
    late = str(done(season, lambda s: make_reset(s, "carl", "lena", NOW)))
    assert refused(season, lambda s: use_link(s, late, "other words here", NOW)).code == "link-unusable"
    done(season, lambda s: set_active(s, "carl", True, NOW))
    assert who(season, token) is None
    assert who(season, come_in(season)) == "carl"


def test_the_last_lead_cannot_be_shut_out(season: Database) -> None:
    let_in(season, "lena")
    invited(season, "carl")
    assert refused(season, lambda s: set_active(s, "lena", False, NOW)).code == "last-lead"
    assert refused(season, lambda s: set_active(s, "ana", False, NOW)).code == "no-account"
    done(season, lambda s: set_active(s, "carl", False, NOW))


def test_a_wrong_try_is_counted_although_it_is_refused(season: Database) -> None:
    let_in(season)
    for _ in range(TRIES):
        done(season, lambda s: note_attempt(s, "sign in as carl", NOW))
        refused(season, lambda s: sign_in(s, "carl", "wrong word", NOW))
    complaint = refused(season, lambda s: note_attempt(s, "sign in as carl", NOW))
    assert complaint.code == "too-many-tries"
    done(season, lambda s: note_attempt(s, "sign in as ana", NOW))


def test_after_a_quarter_of_an_hour_it_may_be_tried_again(season: Database) -> None:
    for _ in range(TRIES):
        done(season, lambda s: note_attempt(s, "sign in as carl", NOW))
    early = NOW + TRIES_WITHIN - timedelta(seconds=1)
    assert refused(season, lambda s: note_attempt(s, "sign in as carl", early)).code == "too-many-tries"
    done(season, lambda s: note_attempt(s, "sign in as carl", NOW + TRIES_WITHIN))


def test_tries_of_yesterday_are_thrown_away(season: Database) -> None:
    for _ in range(TRIES):
        done(season, lambda s: note_attempt(s, "sign in as carl", NOW))
    done(season, lambda s: note_attempt(s, "sign in as ana", NOW + timedelta(days=2)))
    with season.read() as session:
        assert session.scalar(select(func.count()).select_from(Attempt)) == 1


def test_coming_in_forgets_the_tries_of_this_name_alone(season: Database) -> None:
    let_in(season)
    for key in ("carl", "ana"):
        done(season, lambda s, key=key: note_attempt(s, f"{attempts_as(key)} from 10.0.0.9", NOW))
    come_in(season)
    with season.read() as session:
        assert session.scalars(select(Attempt.key)).all() == [f"{attempts_as('ana')} from 10.0.0.9"]


def test_what_was_typed_as_a_name_is_not_kept_in_clear() -> None:
    # A password typed into the wrong box would lie there.
    assert "nine green gates" not in attempts_as("nine green gates")


def test_an_older_and_cheaper_hash_is_made_anew_on_the_way_in(
    season: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    let_in(season)
    monkeypatch.setattr(doing, "HASHER", PasswordHasher(time_cost=2, memory_cost=16, parallelism=1))
    come_in(season)
    with season.read() as session:
        hashed = session.scalar(select(Account.password_hash))
    assert hashed and "m=16,t=2,p=1" in hashed


def test_the_list_of_accounts_tells_who_has_not_come_yet(season: Database) -> None:
    let_in(season, "lena")
    invited(season, "carl")
    done(season, lambda s: set_active(s, "carl", False, NOW))
    with season.read() as session:
        found = {line.key: (line.role, line.active, line.invited) for line in accounts(session)}
        assert session.scalar(select(func.count()).select_from(AccessLink)) == 2
        assert session.scalar(select(func.count()).select_from(SignedIn)) == 0
    assert found == {"carl": ("clerk", False, True), "lena": ("lead", True, False)}
