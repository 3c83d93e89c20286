"""The doors a phone talks with: what it takes along, what it sends, and what it hears when it may not."""

from __future__ import annotations

import io
import json
import sqlite3
from base64 import b64decode, b64encode
from datetime import UTC
from threading import Thread
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import func, select

from tests.makers import BASE, act, at, done, made, make_bag, make_plan, make_received, make_tag, standing
from tests.phones import LOT, Phone
from tests.web.conftest import ClientAs, made_app, sign_in_as
from tracker.domain.coring import CoringPlan, bale_picks
from tracker.domain.field_entry import MARKER
from tracker.steps.issue_tags import issue_tags
from tracker.steps.print_tags import print_tags
from tracker.storage.coring import plan_in_force
from tracker.storage.engine import Database
from tracker.storage.field import FieldContact, FieldEntry
from tracker.storage.intake import Photo
from tracker.storage.kept import KeptRefusal
from tracker.storage.lots import Lot
from tracker.storage.people import party


@pytest.fixture
def tove(client_as: ClientAs) -> FlaskClient:
    return client_as("tove")


HERE = "https://localhost"


def post(client: FlaskClient, phone: Phone, *entries: Any, **more: Any) -> Any:
    return client.post("/field/entries", json=phone.body(300, *entries), **more)


def count(season: Database, row: type) -> int:
    with season.read() as session:
        return session.scalar(select(func.count()).select_from(row)) or 0


def test_the_pack_holds_the_lots_with_their_plans_the_persons_tags_and_the_choices(
    season: Database, tove: FlaskClient
) -> None:
    sample = made(season, make_plan)
    _, printed = done(
        season,
        lambda s: print_tags(s, [None] * 3, act(s, "carl", 6), base_url=BASE, layout={"stock": "roll"}),
    )
    codes = [one.tag.code for one in printed]
    done(season, lambda s: issue_tags(s, printed[0].tag.run_id, 1, 2, party(s, "tove"), act(s, "carl", 7)))
    answer = tove.get("/field/pack")
    pack = answer.get_json()
    assert answer.headers["Cache-Control"] == "no-store"
    assert (pack["marker"], pack["person"]["key"]) == (MARKER, "tove")
    (lot,) = pack["lots"]
    assert (lot["key"], lot["producer"], lot["bale_lb"]) == ("lot 1", "Oda Meadow", "61")
    with season.read() as session:
        plan = CoringPlan.from_dict(plan_in_force(session, sample.id).body)
    told = lot["samples"][0]["plan"]
    assert told["picks"] == [{"bale": pick.bale, "cores": pick.cores} for pick in bale_picks(118, 20, 3)]
    assert (told["entry"], told["seed"], told["mass_g"]) == ("end", 3, str(plan.mass_g))
    assert any("steams" in words for words in told["cautions"])
    assert [(tag["code"], tag["state"]) for tag in pack["tags"]] == [(code, "issued") for code in codes[:2]]
    assert pack["choices"]["entries"]["round"] == "side"
    assert pack["practice"]["cores"] == "20"
    assert {"box", "van", "ulf"} <= {one["key"] for one in pack["people"]}


def test_a_pack_holds_no_lot_that_the_laboratory_has(season: Database, tove: FlaskClient) -> None:
    made(season, make_received)
    sample = made(season, make_bag, field="Hill")
    (lot,) = tove.get("/field/pack").get_json()["lots"]
    assert lot["samples"][0]["code"] == standing(season, sample).code


def test_every_entry_of_a_batch_is_answered_in_its_order(season: Database, tove: FlaskClient) -> None:
    phone = Phone()
    code = done(season, lambda session: make_tag(session))
    answer = post(tove, phone, *phone.bagged(code))
    body = answer.get_json()
    assert (answer.status_code, body["marker"]) == (200, MARKER)
    assert [one["answer"] for one in body["answers"]] == ["accepted"] * 4
    assert set(body["answers"][0]) == {
        "event_id",
        "answer",
        "received_at",
        "code",
        "words",
        "field",
        "remedy",
        "made",
        "contested",
        "notices",
    }
    assert body["answers"][3]["made"]["code"] == code
    assert body["server_time"].startswith("2026-06-20T")


def test_twenty_posts_at_once_through_the_door_make_one_lot(app: Flask, season: Database) -> None:
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    clients = [sign_in_as(app, "tove") for _ in range(20)]
    found: list[Any] = []

    def one(client: FlaskClient) -> None:
        found.append(post(client, phone, lot).get_json()["answers"][0])

    posts = [Thread(target=one, args=(client,)) for client in clients]
    for thread in posts:
        thread.start()
    for thread in posts:
        thread.join()
    assert sorted(answer["answer"] for answer in found) == ["accepted"] + ["duplicate"] * 19
    assert all({**answer, "answer": ""} == {**found[0], "answer": ""} for answer in found)
    assert (count(season, Lot), count(season, FieldEntry)) == (1, 1)


def test_an_entry_alone_goes_with_its_id_as_the_key(season: Database, tove: FlaskClient) -> None:
    # draft-ietf-httpapi-idempotency-key-header-07: the key is a quoted string; another body with it is 422.
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    key = {"Idempotency-Key": f'"{lot["event_id"]}"'}
    first = post(tove, phone, lot, headers=key)
    again = post(tove, phone, lot, headers=key)
    assert [one.get_json()["answers"][0]["answer"] for one in (first, again)] == ["accepted", "duplicate"]
    other = post(tove, phone, {**lot, "payload": {**LOT, "cutting": 3}}, headers=key)
    assert (other.status_code, other.mimetype) == (422, "application/problem+json")
    assert (other.get_json()["code"], other.get_json()["marker"]) == ("entry-differs", MARKER)
    wrong = post(tove, phone, lot, headers={"Idempotency-Key": '"another"'})
    assert (wrong.status_code, wrong.get_json()["code"]) == (400, "idempotency-key")
    assert count(season, Lot) == 1


@pytest.mark.parametrize(
    "content",
    [b"", b"<p>Welcome to the hotel.", b"{}", b"[]", b"\xff\xfe", b'{"marker": "other"}', b"[" * 100_000],
)
def test_what_our_pages_do_not_send_is_no_list_of_entries(tove: FlaskClient, content: bytes) -> None:
    answer = tove.post("/field/entries", data=content, content_type="application/json")
    assert (answer.status_code, answer.get_json()["code"]) == (400, "not-field-entries")


def test_more_than_fifty_are_sent_in_parts(tove: FlaskClient, season: Database) -> None:
    phone = Phone()
    entries = [phone.entry("register lot", 10, {**LOT, "field": f"F{number}"}) for number in range(51)]
    answer = post(tove, phone, *entries)
    assert (answer.status_code, answer.get_json()["code"]) == (413, "too-many-entries")
    assert count(season, Lot) == 0


def test_whoever_is_not_signed_in_hears_it_in_json_and_loses_nothing(
    client: FlaskClient, season: Database
) -> None:
    phone = Phone()
    answers = [client.get("/field/pack"), post(client, phone, phone.entry("register lot", 10, LOT))]
    for answer in answers:
        assert answer.status_code == 401
        assert (answer.get_json()["marker"], answer.get_json()["code"]) == (MARKER, "sign-in-needed")
    assert count(season, FieldEntry) == 0


def test_the_token_of_the_pack_opens_the_door_and_an_old_one_says_so(season: Database) -> None:
    app = made_app(season, strict=True)
    client = sign_in_as(app, "tove")
    phone = Phone()
    lot = phone.entry("register lot", 10, LOT)
    stale = client.post(
        "/field/entries", json=phone.body(300, lot), base_url=HERE, headers={"X-CSRFToken": "old"}
    )
    assert (stale.status_code, stale.get_json()["code"]) == (400, "form-too-old")
    token = client.get("/field/pack", base_url=HERE).get_json()["csrf"]
    taken = client.post(
        "/field/entries",
        json=phone.body(300, lot),
        base_url=HERE,
        headers={"X-CSRFToken": token, "Referer": f"{HERE}/field/"},
    )
    assert taken.status_code == 200 and count(season, Lot) == 1


def test_a_busy_season_keeps_the_phones_entries_pending(
    season: Database, tove: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sqlalchemy.exc import OperationalError

    from tracker.web.field import entries

    def busy(*_: Any, **__: Any) -> None:
        fault = sqlite3.OperationalError("database is locked")
        fault.sqlite_errorcode = sqlite3.SQLITE_BUSY
        raise OperationalError("x", {}, fault)

    monkeypatch.setattr(entries, "take_entries", busy)
    phone = Phone()
    answer = post(tove, phone, phone.entry("register lot", 10, LOT))
    assert (answer.status_code, answer.get_json()["code"]) == (503, "database-busy")


def test_the_pack_tells_the_office_which_phone_has_it_and_what_it_still_holds(
    season: Database, tove: FlaskClient
) -> None:
    phone = Phone()
    tove.get(f"/field/pack?device={phone.device}&name=Old+phone&unsent=4")
    tove.get("/field/pack?device=rubbish")
    with season.read() as session:
        (contact,) = session.scalars(select(FieldContact))
    assert (contact.device, contact.called, contact.unsent, contact.via) == (
        phone.device,
        "Old phone",
        4,
        "pack",
    )


def test_a_file_carried_to_the_office_and_sent_later_too_makes_no_double(
    season: Database, client_as: ClientAs, tove: FlaskClient
) -> None:
    phone = Phone()
    code = done(season, lambda session: make_tag(session))
    entries = phone.bagged(code)
    file = json.dumps(phone.body(200, *entries), indent=2).encode()
    carl = client_as("carl")
    page = carl.post("/field/load", data={"file": (io.BytesIO(file), "unsent-1.json")})
    assert "4 taken in" in page.text and "0 refused" in page.text
    sent = post(tove, phone, *entries).get_json()["answers"]
    assert [one["answer"] for one in sent] == ["duplicate"] * 4
    again = carl.post("/field/load", data={"file": (io.BytesIO(file), "unsent-1.json")})
    assert "4 were here already" in again.text
    assert (count(season, Lot), count(season, FieldEntry)) == (1, 4)


def test_a_file_that_is_none_is_refused_with_words(client_as: ClientAs) -> None:
    carl = client_as("carl")
    page = carl.post("/field/load", data={"file": (io.BytesIO(b"lot,bales\n"), "lots.csv")})
    assert page.status_code == 422 and "not what the field pages send" in page.text
    assert carl.post("/field/load", data={}).status_code == 422


def test_the_lead_sees_gaps_clocks_refusals_and_contested_tags(season: Database, client_as: ClientAs) -> None:
    tove, ulf = Phone(slow=3 * 24 * 60), Phone("ulf")
    code = done(season, lambda session: make_tag(session))
    tove.send(season, 200, *tove.bagged(code))
    tove.count += 1
    tove.send(season, 210, tove.entry("register lot", 50, {**LOT, "forage": "seaweed"}))
    ulf.send(season, 220, *ulf.bagged(code, 12, field="Hill"))
    lena = client_as("lena")
    page = lena.get("/phones").text
    assert "Number 5: made on the phone and never sent" in page
    assert "3 days slow: set it" in page
    assert "seaweed" in page
    assert f"Decide on tag {code[:4]}-{code[4:]}" in page
    assert "1 tags on two bags" in lena.get("/").text


def test_a_clerk_decides_on_a_contested_tag_by_page(season: Database, client_as: ClientAs) -> None:
    tove, ulf = Phone(), Phone("ulf")
    code = done(season, lambda session: make_tag(session))
    tove.send(season, 200, *tove.bagged(code))
    ulf.send(season, 220, *ulf.bagged(code, 12, field="Hill"))
    fresh = done(season, lambda session: make_tag(session, minute=230))
    carl = client_as("carl")
    assert f"/tags/contested/{code}" in carl.get(f"/T/{code}", follow_redirects=True).text
    page = carl.get(f"/tags/contested/{code}").text
    assert "Tove Lind" in page and "Ulf Brandt" in page
    form = {"keeps": "1", "fresh-2": fresh, "reason": "asked both"}
    # The office's clock of this season stands at the beginning of the day, before the bags.
    season.clock = lambda: at(300).astimezone(UTC)
    answer = carl.post(f"/tags/contested/{code}", data=form)
    assert answer.status_code == 303, answer.text
    assert carl.get(f"/tags/contested/{code}").status_code == 404
    assert "carries" in carl.get("/way/lot 2").text


def test_a_picture_that_was_taken_in_is_kept_once_and_as_a_photo(season: Database, tove: FlaskClient) -> None:
    made(season, make_plan)
    phone = Phone()
    jpeg = b64encode(b"\xff\xd8\xff" + b"hay" * 1000 + b"\xff\xd9").decode()
    photo = phone.entry("photo", 10, {"about": "lot 1", "name": "stack", "jpeg": jpeg})
    assert post(tove, phone, photo).get_json()["answers"][0]["answer"] == "accepted"
    assert post(tove, phone, photo).get_json()["answers"][0]["answer"] == "duplicate"
    with season.read() as session:
        (kept,) = session.scalars(select(Photo))
        row = session.get_one(FieldEntry, photo["event_id"])
    assert kept.content == b64decode(jpeg) and jpeg not in str(row.body)


def test_an_entry_refused_is_among_the_refusals_kept_without_its_picture(
    season: Database, tove: FlaskClient
) -> None:
    phone = Phone()
    photo = phone.entry("photo", 10, {"about": "lot 9", "name": "stack", "jpeg": "A" * 4000})
    assert post(tove, phone, photo).get_json()["answers"][0]["code"] == "unknown-lot"
    with season.read() as session:
        (kept,) = session.scalars(select(KeptRefusal))
        row = session.get_one(FieldEntry, photo["event_id"])
    assert "AAAA" not in str(kept.given) and kept.act == "phone: photo"
    assert row.body["payload"]["jpeg"] == "A" * 4000
