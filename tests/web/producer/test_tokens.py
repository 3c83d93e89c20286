"""Tokens: who is let in, that unknown and revoked look alike, what looking leaves behind, how often one may knock."""

from __future__ import annotations

import re
import statistics
import time
from datetime import date, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import func, select, update
from werkzeug.test import TestResponse

from labels import payload
from tests.makers import act, at, done, everything, made, make_bag, make_tag, share_lot
from tests.web.conftest import made_app, sign_in_as
from tests.web.producer.lots import Stub, give_token, producer_id
from tracker.domain.sharing import MOST_OPENINGS, MOST_TRIES, WITHIN
from tracker.steps.add_people import add_producer
from tracker.steps.print_tags import reprint_tag, void_tag
from tracker.steps.share_results import share_at_wish, take_back
from tracker.steps.stub_access import pause_stub, resume_stub, revoke_stub
from tracker.storage.engine import Database
from tracker.storage.shares import Opening, ResultLink, TokenChange
from tracker.storage.tags import Tag

UNKNOWN = "0123456789ABCDEFGHJKMNPQRS"
TODAY = at(1600).date()


def opened(client: FlaskClient, token: str, rest: str = "") -> TestResponse:
    return client.get(f"/T/{token}{rest}", buffered=True)


def said(answer: TestResponse) -> tuple[int, str, dict[str, str]]:
    """All of an answer that could tell two apart."""
    return answer.status_code, answer.text, dict(answer.headers)


def log(season: Database) -> list[tuple[str | None, str]]:
    with season.read() as session:
        return [(row.token_hash, row.what) for row in session.scalars(select(Opening).order_by(Opening.id))]


@pytest.mark.parametrize(
    "rest", ["", "/animals", "/hay.pdf", "/report.pdf", "/hay.csv", "/links", "/messages"]
)
def test_unknown_paused_revoked_replaced_void_and_ended_look_alike(
    rest: str, lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    done(lots, lambda s: pause_stub(s, stubs["good"].code, act(s, "carl", 1550), reason="asked to"))
    done(
        lots,
        lambda s: revoke_stub(s, stubs["fair"].code, act(s, "lena", 1550), reason="stub nailed to a barn"),
    )
    done(
        lots,
        lambda s: reprint_tag(
            s,
            stubs["poor"].code,
            act(s, "carl", 1550),
            reason="lost",
            base_url="https://hay.example",
            layout={},
        ),
    )
    spoilt = done(lots, make_tag)
    void = give_token(lots, spoilt)
    done(lots, lambda s: void_tag(s, spoilt, act(s, "tove", 1550), reason="torn"))
    ended, token = done(
        lots, lambda s: share_lot(s, stubs["good"].lot, act(s, "carl", 1550), name="Dr. Lee", until=TODAY)
    )
    lots.clock = lambda: at(1600) + timedelta(days=1)
    dead = [stubs[name].token for name in ("good", "fair", "poor")] + [void, token]
    wanted = said(opened(anyone, UNKNOWN, rest))
    assert wanted[0] == 404 and "This tag is not active" in wanted[1] and "555-0142" in wanted[1]
    for one in dead:
        assert said(opened(anyone, one, rest)) == wanted
    assert ended.until == TODAY
    assert opened(anyone, stubs["excellent"].token, rest).status_code == 200


def test_unknown_and_revoked_take_as_long(lots: Database, stubs: dict[str, Stub], door: Flask) -> None:
    done(lots, lambda s: revoke_stub(s, stubs["fair"].code, act(s, "lena", 1550), reason="lost"))
    took: dict[str, list[float]] = {UNKNOWN: [], stubs["fair"].token: []}
    client = door.test_client()
    for turn in range(40):
        for token in took:
            # Each from an address of its own, so that the limit is not what is measured.
            begun = time.perf_counter()
            client.get(f"/T/{token}", buffered=True, environ_base={"REMOTE_ADDR": f"192.0.2.{turn}"})
            took[token].append(time.perf_counter() - begun)
    unknown, revoked = (statistics.median(times) for times in took.values())
    # The same questions are asked for both; what is left is the machine's noise.
    assert 0.67 < unknown / revoked < 1.5, (unknown, revoked)


def test_a_pause_ends_and_a_revocation_does_not(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    stub = stubs["good"]
    done(lots, lambda s: pause_stub(s, stub.code, act(s, "carl", 1550), reason="asked to"))
    assert opened(anyone, stub.token).status_code == 404
    done(lots, lambda s: resume_stub(s, stub.code, act(s, "carl", 1551), reason="asked to"))
    assert opened(anyone, stub.token).status_code == 200
    done(lots, lambda s: revoke_stub(s, stub.code, act(s, "carl", 1552), reason="lost"))
    assert opened(anyone, stub.token).status_code == 404


def test_a_new_stub_opens_and_the_code_on_the_bag_stays(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    stub = stubs["good"]
    done(lots, lambda s: revoke_stub(s, stub.code, act(s, "carl", 1550), reason="lost"))
    _, one = done(
        lots,
        lambda s: reprint_tag(
            s, stub.code, act(s, "carl", 1551), reason="lost", base_url="https://hay.example", layout={}
        ),
    )
    assert one.tag.code == stub.code
    assert opened(anyone, one.token).status_code == 200
    assert opened(anyone, stub.token).status_code == 404


def test_the_code_opens_no_results_and_the_stub_gives_no_act(
    stubs: dict[str, Stub], anyone: FlaskClient, lots: Database
) -> None:
    # Requirement: knowing the code of the bag does not give the token, nor the other way round.
    stranger = anyone.get(f"/T/{stubs['good'].code}", buffered=True)
    assert stranger.status_code == 200 and "Long Acre" not in stranger.text
    with lots.read() as session:
        hashes = session.scalars(select(Tag.token_hash)).all()
    assert payload.token_hash(stubs["good"].token) in hashes
    assert not any(
        stub.token in row for stub in stubs.values() for row in map(str, everything(lots).values())
    )


def test_a_token_has_130_bits_and_only_its_hash_is_kept(lots: Database, stubs: dict[str, Stub]) -> None:
    made_ = [
        done(
            lots, lambda s: share_lot(s, stubs["good"].lot, act(s, "carl", 1550), name="Dr. Lee", until=TODAY)
        )
        for _ in range(20)
    ]
    tokens = {token for _, token in made_}
    assert len(tokens) == 20 and all(len(token) == 26 for token in tokens)
    assert len(payload.ALPHABET) ** 26 == 2**130
    kept = str(everything(lots)["result_link"])
    assert not any(token in kept for token in tokens)


HEADERS = {
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
}


@pytest.mark.parametrize(
    "rest", ["", "?kind=bull&weight=1800", "/animals", "/hay.pdf", "/report.pdf", "/hay.csv", "/links"]
)
@pytest.mark.parametrize("which", ["good", "unknown"])
def test_no_answer_is_indexed_kept_or_told_to_others(
    rest: str, which: str, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    answer = opened(anyone, UNKNOWN if which == "unknown" else stubs[which].token, rest)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', answer.text if "pdf" not in rest else "")


def test_opening_changes_nothing_but_the_list_of_openings(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    before = everything(lots)
    for rest in (
        "",
        "",
        "?kind=cow&stage=early-milk&weight=1200",
        "/animals",
        "/hay.pdf",
        "/report.pdf",
        "/hay.csv",
        "/links",
    ):
        assert opened(anyone, stubs["good"].token, rest).status_code == 200
    opened(anyone, UNKNOWN)
    after = everything(lots)
    mine = payload.token_hash(stubs["good"].token)
    assert log(lots) == [
        (mine, what) for what in ("page", "page", "animals", "animals", "pdf", "pdf", "csv", "links")
    ] + [(None, "nothing")]
    assert {table: rows for table, rows in after.items() if table != "opening"} == {
        table: rows for table, rows in before.items() if table != "opening"
    }


def test_the_producer_sees_how_often_it_was_opened(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    assert "It was not opened before." in opened(anyone, stubs["good"].token).text
    opened(anyone, stubs["good"].token, "?kind=bull&weight=1800")
    assert "It was opened 1 time before." in opened(anyone, stubs["good"].token).text
    opened(anyone, stubs["good"].token, "/hay.csv")
    assert "It was opened 3 times before." in opened(anyone, stubs["good"].token).text
    assert "Your stub opened it 4 times." in opened(anyone, stubs["good"].token, "/links").text


def test_who_knocks_too_often_waits_whatever_his_token(
    stubs: dict[str, Stub], door: Flask, lots: Database
) -> None:
    client = door.test_client()
    for _ in range(MOST_TRIES):
        assert opened(client, UNKNOWN).status_code == 404
    refused, known = opened(client, UNKNOWN), opened(client, stubs["good"].token)
    assert refused.status_code == 429 and said(refused) == said(known)
    assert "Wait 15 minutes" in refused.text
    elsewhere = client.get(
        f"/T/{stubs['good'].token}", buffered=True, environ_base={"REMOTE_ADDR": "192.0.2.9"}
    )
    assert elsewhere.status_code == 200
    # Who asks to be believed about his address is not.
    forwarded = client.get(
        f"/T/{stubs['good'].token}", buffered=True, headers={"X-Forwarded-For": "192.0.2.10"}
    )
    assert forwarded.status_code == 429
    lots.clock = lambda: at(1600) + WITHIN + timedelta(seconds=1)
    assert opened(client, stubs["good"].token).status_code == 200


def test_the_limit_is_kept_in_the_season_and_not_in_a_process(
    stubs: dict[str, Stub], door: Flask, lots: Database
) -> None:
    for _ in range(MOST_TRIES):
        opened(door.test_client(), UNKNOWN)
    assert opened(made_app(lots).test_client(), stubs["good"].token).status_code == 429
    assert MOST_OPENINGS > 10 * MOST_TRIES


def test_the_list_of_openings_names_no_address(stubs: dict[str, Stub], door: Flask, lots: Database) -> None:
    client = door.test_client()
    client.get(f"/T/{stubs['good'].token}", buffered=True, environ_base={"REMOTE_ADDR": "192.0.2.77"})
    lots.clock = lambda: at(1600) + timedelta(days=1)
    client.get(f"/T/{stubs['good'].token}", buffered=True, environ_base={"REMOTE_ADDR": "192.0.2.77"})
    with lots.read() as session:
        first, second = session.scalars(select(Opening.came_from).order_by(Opening.id)).all()
    assert "192" not in first and re.fullmatch("[0-9a-f]{32}", first) and first != second


def test_an_advisers_link_is_named_dated_and_taken_back_singly(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    lot, until = stubs["good"].lot, date(2026, 12, 31)
    lee, lee_token = done(
        lots, lambda s: share_lot(s, lot, act(s, "carl", 1550), name="Dr. Lee", until=until)
    )
    _, kim_token = done(lots, lambda s: share_lot(s, lot, act(s, "carl", 1551), name="Kim", until=until))
    page = opened(anyone, lee_token)
    assert page.status_code == 200
    assert "This link was made for Dr. Lee. It opens until December 31, 2026." in page.text
    assert "Let an adviser see it" not in page.text
    producers = opened(anyone, stubs["good"].token).text
    assert "Dr. Lee, until December 31, 2026: opened 1 time." in producers
    assert "Kim, until December 31, 2026: opened 0 times." in producers
    done(lots, lambda s: take_back(s, lee.id, act(s, "carl", 1560), reason="he asked"))
    assert opened(anyone, lee_token).status_code == 404
    assert opened(anyone, kim_token).status_code == opened(anyone, stubs["good"].token).status_code == 200


@pytest.mark.parametrize(("days", "status"), [(0, 200), (1, 404)])
def test_a_link_opens_through_its_last_day(
    days: int, status: int, lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    until = TODAY + timedelta(days=30)
    _, token = done(
        lots, lambda s: share_lot(s, stubs["good"].lot, act(s, "carl", 1550), name="Lee", until=until)
    )
    lots.clock = lambda: at(1600) + timedelta(days=30 + days)
    assert opened(anyone, token).status_code == status


def test_a_link_to_all_lots_shows_each_and_those_of_nobody_else(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    done(lots, lambda s: add_producer(s, name="Ada Finch", now=at(0)))
    other = made(lots, make_bag, producer="Ada Finch", field="Elsewhere")
    owner = producer_id(lots)
    _, token = done(lots, lambda s: share_at_wish(s, owner, act(s, "carl", 1550), name="Lee", until=TODAY))
    page = opened(anyone, token)
    assert all(name in page.text for name in ("Top Meadow", "Long Acre", "Road Field"))
    assert "Elsewhere" not in page.text
    assert "Far Bottom, cutting 2" in opened(anyone, token, f"?lot={stubs['poor'].lot}").text
    for address in (f"?lot={other.lot_id}", "?lot=999", "?lot=x"):
        assert "Elsewhere" not in opened(anyone, token, address).text
    assert opened(anyone, token, f"/hay.csv?lot={other.lot_id}").status_code == 404


def test_a_stub_opens_its_own_lot_and_no_other(stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    page = opened(anyone, stubs["good"].token, f"?lot={stubs['poor'].lot}")
    assert "Long Acre" in page.text and "Far Bottom" not in page.text


def test_the_producer_makes_a_link_by_his_stub_and_ends_it(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    token = stubs["good"].token
    form = {"name": "Dr.  Lee", "until": "2026-12-31"}
    page = anyone.post(f"/T/{token}/links", data=form, buffered=True)
    assert page.status_code == 200
    found = re.search(r"https://hay\.example/T/([0-9A-Z]{26})", page.text)
    assert found and opened(anyone, found[1]).status_code == 200
    assert found[1] not in opened(anyone, token, "/links").text, "it is shown only once"
    with lots.read() as session:
        row = session.scalars(select(ResultLink)).one()
    assert (row.name, row.lot_id, row.made_by) == ("Dr. Lee", stubs["good"].lot, "producer")
    # An adviser hands on nothing, and ends nothing.
    assert opened(anyone, found[1], "/links").status_code == 404
    assert anyone.post(f"/T/{found[1]}/links", data=form, buffered=True).status_code == 404
    assert (
        anyone.post(f"/T/{found[1]}/links/taken-back", data={"link": row.id}, buffered=True).status_code
        == 404
    )
    # Nor does the stub of other hay.
    other = anyone.post(f"/T/{stubs['poor'].token}/links/taken-back", data={"link": row.id}, buffered=True)
    assert other.status_code == 404 and opened(anyone, found[1]).status_code == 200
    ended = anyone.post(f"/T/{token}/links/taken-back", data={"link": row.id}, buffered=True)
    assert ended.status_code == 303 and opened(anyone, found[1]).status_code == 404
    assert "You took it back." in opened(anyone, token, "/links").text


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({"name": "", "until": "2026-12-31"}, "adviser-unnamed"),
        ({"name": "x" * 61, "until": "2026-12-31"}, "adviser-unnamed"),
        ({"name": "Lee", "until": "2026-06-01"}, "link-date"),
        ({"name": "Lee", "until": "2036-06-01"}, "link-date"),
        ({"name": "Lee", "until": "soon"}, "not-a-date"),
    ],
)
def test_a_link_without_a_name_or_a_day_is_refused(
    form: dict[str, str], code: str, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    answer = anyone.post(f"/T/{stubs['good'].token}/links", data=form, buffered=True)
    assert answer.status_code == 422 and code in answer.text


def test_a_stub_makes_no_more_links_than_a_man_has_advisers(
    stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    form = {"name": "Lee", "until": "2026-12-31"}
    codes = [
        anyone.post(f"/T/{stubs['good'].token}/links", data=form, buffered=True).status_code
        for _ in range(11)
    ]
    assert codes == [200] * 10 + [422]


@pytest.mark.parametrize("who", ["tove", "ana"])
def test_only_the_office_changes_who_sees_what(
    who: str, door: Flask, lots: Database, stubs: dict[str, Stub]
) -> None:
    client, number = sign_in_as(door, who), producer_id(lots)
    for path, form in (
        (f"/producers/{number}/stub", {"code": stubs["good"].code, "change": "revoked", "reason": "x"}),
        (f"/producers/{number}/links", {"name": "Lee", "until": "2026-12-31"}),
        (f"/producers/{number}/messages", {"address": "a@example.org", "how": "x"}),
    ):
        assert client.post(path, data=form).status_code == 403
    with lots.read() as session:
        assert session.scalar(select(func.count()).select_from(TokenChange)) == 0


def test_the_clerk_pauses_revokes_and_prints_another_stub(
    door: Flask, lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    carl, number, stub = sign_in_as(door, "carl"), producer_id(lots), stubs["good"]
    address = f"/producers/{number}/stub"
    form = {"code": stub.code, "reason": "the stub hangs on a barn"}
    assert carl.post(address, data={**form, "change": "paused"}).status_code == 303
    assert opened(anyone, stub.token).status_code == 404
    page = carl.get(f"/producers/{number}").text
    assert "paused (the stub hangs on a barn)" in page
    assert carl.post(address, data={**form, "change": "resumed"}).status_code == 303
    assert opened(anyone, stub.token).status_code == 200
    assert carl.post(address, data={**form, "change": "revoked"}).status_code == 303
    again = carl.post(address, data={**form, "change": "paused"})
    assert again.status_code == 422 and "stub-revoked" in again.text
    paper = carl.post(address, data={**form, "change": "replaced"})
    assert paper.status_code == 200 and "data:application/pdf;base64," in paper.text
    assert opened(anyone, stub.token).status_code == 404
    assert f"{stub.code[:4]}-{stub.code[4:]}</a>: open" in carl.get(f"/producers/{number}").text


def test_staff_see_what_the_producer_sees(door: Flask, stubs: dict[str, Stub], anyone: FlaskClient) -> None:
    mine = opened(anyone, stubs["poor"].token).text
    verdict = re.search(r'<p class="verdict[^>]*>(.*?)</p>', mine)
    assert verdict
    page = sign_in_as(door, "tove").get(f"/as-producer/{stubs['poor'].code}").text
    assert verdict[1] in page and "Who else sees this" not in page


def test_a_void_tag_of_before_opens_nothing_even_with_a_token_put_back(
    lots: Database, stubs: dict[str, Stub], anyone: FlaskClient
) -> None:
    with lots.act("put there", "", {}) as session:
        session.execute(update(Tag).where(Tag.code == stubs["good"].code).values(state="void"))
    assert opened(anyone, stubs["good"].token).status_code == 404
