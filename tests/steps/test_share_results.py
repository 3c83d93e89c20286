"""Links for advisers and the stub itself: who may make, pause and end them, and what is kept of that."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from tests.makers import act, at, done, made, make_bag, make_tag, refused, share_lot
from tracker.domain.sharing import MOST_DAYS, is_open
from tracker.steps.choose_messages import stop_messages, want_messages
from tracker.steps.share_results import share_at_wish, share_by_stub, take_back, take_back_by_stub
from tracker.steps.stub_access import change_stub, pause_stub, resume_stub, revoke_stub
from tracker.storage.engine import Database
from tracker.storage.messages import MessageChoice
from tracker.storage.people import Producer
from tracker.storage.shares import ResultLink, TokenChange

TODAY = at(0).date()


def owner(season: Database) -> int:
    with season.read() as session:
        return session.scalars(select(Producer.id)).one()


@pytest.mark.parametrize("who", ["tove", "ana", "ulf"])
def test_only_clerk_and_lead_change_who_sees_what(who: str, season: Database) -> None:
    lot = made(season, make_bag).lot_id
    code = done(season, make_tag)
    producer = owner(season)
    for step in (
        lambda s: share_lot(s, lot, act(s, who, 70), name="Lee", until=TODAY),
        lambda s: share_at_wish(s, producer, act(s, who, 70), name="Lee", until=TODAY),
        lambda s: take_back(s, 1, act(s, who, 70), reason="x"),
        lambda s: change_stub(s, code, "paused", act(s, who, 70), reason="x"),
        lambda s: want_messages(s, producer, act(s, who, 70), address="a@example.org", how="x"),
    ):
        assert refused(season, step, by=who).code == "not-allowed"


@pytest.mark.parametrize(("days", "code"), [(-1, "link-date"), (MOST_DAYS + 1, "link-date")])
def test_a_link_ends_within_a_year(days: int, code: str, season: Database) -> None:
    lot = made(season, make_bag).lot_id
    until = TODAY + timedelta(days=days)
    answer = refused(
        season, lambda s: share_lot(s, lot, act(s, "carl", 70), name="Lee", until=until), by="carl"
    )
    assert answer.code == code


def test_a_link_to_no_lot_is_not_made(season: Database) -> None:
    his = owner(season)
    answer = refused(
        season,
        lambda s: share_at_wish(s, his, act(s, "carl", 70), name="Lee", until=TODAY, lot=99),
        by="carl",
    )
    assert answer.code == "unknown-lot"


def test_a_link_is_taken_back_once_and_why_is_kept(season: Database) -> None:
    lot = made(season, make_bag).lot_id
    row, token = done(season, lambda s: share_lot(s, lot, act(s, "carl", 70), name=" Dr.  Lee ", until=TODAY))
    assert (row.name, row.lot_id, row.made_by, len(token)) == ("Dr. Lee", lot, "carl", 26)
    assert (
        refused(season, lambda s: take_back(s, row.id, act(s, "carl", 71), reason=" "), by="carl").code
        == "reason-missing"
    )
    done(season, lambda s: take_back(s, row.id, act(s, "lena", 72), reason="he moved away"))
    again = refused(season, lambda s: take_back(s, row.id, act(s, "lena", 73), reason="x"), by="lena")
    assert again.code == "link-taken-back"
    with season.read() as session:
        change = session.scalars(select(TokenChange)).one()
        assert session.scalars(select(ResultLink)).one().token_hash == change.token_hash
    assert (change.change, change.by, change.reason) == ("revoked", "lena", "he moved away")


def test_a_stub_ends_only_links_to_its_own_lot(season: Database) -> None:
    first, second = (made(season, make_bag, field=name).lot_id for name in ("Hill", "Brook"))
    row, _ = done(season, lambda s: share_by_stub(s, first, name="Lee", until=TODAY, now=at(70)))
    wide, _ = done(
        season, lambda s: share_at_wish(s, row.producer_id, act(s, "carl", 70), name="Kim", until=TODAY)
    )
    for link, lot in ((row.id, second), (wide.id, first), (99, first)):
        answer = refused(season, lambda s, link=link, lot=lot: take_back_by_stub(s, link, lot, at(71)))
        assert answer.code == "unknown-result-link"
    done(season, lambda s: take_back_by_stub(s, row.id, first, at(72)))


def test_a_stub_is_paused_opened_again_and_revoked_for_ever(season: Database) -> None:
    code = done(season, make_tag)
    answer = refused(season, lambda s: resume_stub(s, code, act(s, "carl", 70), reason="x"), by="carl")
    assert answer.code == "stub-not-paused"
    done(season, lambda s: pause_stub(s, code, act(s, "carl", 71), reason="on a barn"))
    done(season, lambda s: resume_stub(s, code, act(s, "carl", 72), reason="taken down"))
    done(season, lambda s: revoke_stub(s, code, act(s, "lena", 73), reason="lost"))
    for step in (pause_stub, resume_stub, revoke_stub):
        answer = refused(
            season, lambda s, step=step: step(s, code, act(s, "carl", 74), reason="x"), by="carl"
        )
        assert answer.code == "stub-revoked"


@pytest.mark.parametrize(
    ("change", "until", "opens"),
    [
        (None, None, True),
        ("resumed", None, True),
        ("paused", None, False),
        ("revoked", None, False),
        (None, date(2026, 6, 20), True),
        (None, date(2026, 6, 19), False),
        ("revoked", date(2026, 6, 20), False),
    ],
)
def test_a_token_opens_while_it_is_neither_paused_revoked_nor_over(
    change: str | None, until: date | None, opens: bool
) -> None:
    assert is_open(change, until, date(2026, 6, 20)) is opens


@pytest.mark.parametrize(
    "address",
    [
        "",
        "oda",
        "oda@",
        "@example.org",
        "a b@example.org",
        "a@b",
        "a@example.org\nBcc: b@example.org",
        "<a@example.org>",
    ],
)
def test_what_is_no_address_gets_no_messages(address: str, season: Database) -> None:
    producer = owner(season)
    step = lambda s: want_messages(s, producer, act(s, "carl", 70), address=address, how="form")  # noqa: E731
    assert refused(season, step, by="carl").code == "not-an-address"


def test_nobody_is_written_to_who_has_not_said_how_he_asked(season: Database) -> None:
    producer = owner(season)
    step = lambda s: want_messages(s, producer, act(s, "carl", 70), address="a@example.org", how=" ")  # noqa: E731
    assert refused(season, step, by="carl").code == "reason-missing"


def test_a_choice_is_added_and_the_one_before_stays(season: Database) -> None:
    producer = owner(season)
    assert (
        refused(season, lambda s: stop_messages(s, producer, "carl", at(70), how="x")).code
        == "no-messages-wanted"
    )
    done(
        season, lambda s: want_messages(s, producer, act(s, "carl", 71), address="a@example.org", how="form")
    )
    done(season, lambda s: stop_messages(s, producer, "carl", at(72), how="answered STOP"))
    assert (
        refused(season, lambda s: stop_messages(s, producer, "carl", at(73), how="x")).code
        == "no-messages-wanted"
    )
    with season.read() as session:
        rows = session.scalars(select(MessageChoice).order_by(MessageChoice.id)).all()
    assert [(row.choice, row.how) for row in rows] == [("wanted", "form"), ("stopped", "answered STOP")]


def test_a_link_made_for_one_producer_opens_no_lot_of_another(season: Database) -> None:
    lot = made(season, make_bag).lot_id
    his = owner(season)
    other = his + 1
    answer = refused(
        season,
        lambda s: share_at_wish(s, other, act(s, "carl", 70), name="Lee", until=TODAY, lot=lot),
        by="carl",
    )
    assert (answer.code, answer.field) == ("not-his-lot", "lot")
    row, _ = done(
        season, lambda s: share_at_wish(s, his, act(s, "carl", 71), name="Lee", until=TODAY, lot=lot)
    )
    assert (row.lot_id, row.producer_id) == (lot, his)
