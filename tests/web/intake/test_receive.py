"""Bags arrive: a box counted against what was sent, and one bag with everything that can be wrong with it."""

from __future__ import annotations

import hashlib
from html import unescape
from io import BytesIO
from typing import Any

import pytest

from tests.makers import (
    SEAL,
    act,
    done,
    kinds,
    life,
    made,
    make_bag,
    make_received,
    make_signed_away,
    make_tag,
    remarks,
)
from tests.scans import TOKEN
from tests.web.intake.conftest import Desk
from tracker.steps.hand_over import store
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.people import party

# The smallest picture there is: one black dot, made with a drawing program's export.
PNG = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU"
    b"\x00\x00\x00\nIDATx\x9cc`\x00\x00\x00\x02\x00\x01H\xaf\xa4q\x00\x00\x00\x00IEND\xaeB`\x82"
)
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(40) + b"\xff\xd9"


def bag_form(desk: Desk, sample: Sample, suffix: str = "", **changes: Any) -> dict[str, Any]:
    form = {
        "seen": desk.seen(sample),
        "condition": "dry",
        "seal_state": "intact",
        "seal_read": SEAL,
        **changes,
    }
    return {f"{name}{suffix}": value for name, value in form.items()}


def box_form(desk: Desk, *samples: Sample, **changes: Any) -> dict[str, Any]:
    form: dict[str, Any] = {"found": [desk.code(sample) for sample in samples]}
    for sample in samples:
        code = desk.code(sample)
        form |= {f"take-{code}": "yes", **bag_form(desk, sample, f"-{code}", **changes)}
    return form


def three_sent(season: Database) -> list[Sample]:
    return [made(season, make_signed_away, field=f"Field {n}") for n in range(3)]


def test_the_box_page_lists_what_is_on_its_way(season: Database, desk: Desk) -> None:
    samples = three_sent(season)
    page = desk.get("/desk/receive")
    assert "Expected 3, found 0" in page
    assert all(desk.code(sample)[:4] in page for sample in samples)


def test_a_bag_in_a_place_is_expected_too(season: Database, desk: Desk) -> None:
    sample = made(season, make_bag)
    done(season, lambda session: store(session, sample, party(session, "box"), act(session, "tove", 100)))
    page = desk.get("/desk/receive")
    assert "Expected 1" in page and "Drop box" in page


def test_a_bag_signed_away_to_somebody_in_the_field_is_not_expected_here(
    season: Database, desk: Desk
) -> None:
    made(season, make_signed_away, to="ulf")
    assert "Expected 0" in desk.get("/desk/receive")


def test_the_list_is_narrowed_to_a_giver_or_a_waybill(season: Database, desk: Desk) -> None:
    made(season, make_signed_away)
    made(season, make_signed_away, to="van", field="Far field")
    assert "Expected 2" in desk.get("/desk/receive", giver="tove")
    assert "Expected 0" in desk.get("/desk/receive", giver="ulf")
    assert "Expected 1" in desk.get("/desk/receive", waybill="W-12")


def test_each_scan_adds_a_bag_to_what_was_found_and_changes_nothing(season: Database, desk: Desk) -> None:
    first, second, _ = three_sent(season)
    page = desk.get(
        "/desk/receive", found=desk.code(first), scan=f"HTTPS://HAY.EXAMPLE/T/{desk.code(second)}"
    )
    assert "Expected 3, found 2" in page
    assert kinds(season, second)[-1] == "relinquished"


def test_the_same_bag_scanned_twice_is_counted_once(season: Database, desk: Desk) -> None:
    first = three_sent(season)[0]
    page = desk.get("/desk/receive", found=desk.code(first), scan=desk.scan(first))
    assert "found 1" in page and "in the list already" in page


def test_differences_of_a_box_are_listed(season: Database, desk: Desk) -> None:
    first, second, missing = three_sent(season)
    extra = made(season, make_bag, field="Unannounced field")
    with_tag = done(season, lambda session: make_tag(session))
    codes = [desk.code(first), desk.code(second), desk.code(extra), with_tag]
    page = desk.get("/desk/receive", found=codes)
    assert "Expected 3, found 4" in page
    assert f"Not found: {desk.code(missing)[:4]}" in page
    assert f"Not expected: {desk.code(extra)[:4]}" in page and "nobody signed it away" in page
    assert f"Not expected: {with_tag[:4]}" in page and "not on any bag yet" in page


def test_a_box_is_received_whole_and_its_count_is_kept(season: Database, desk: Desk) -> None:
    first, second, missing = three_sent(season)
    told = desk.post("/desk/receive", **box_form(desk, first, second))
    assert "Received: 2 of 3 expected" in told
    assert f"Not in the box: {desk.code(missing)[:4]}" in told
    for sample in (first, second):
        event = life(season, sample)[-1]
        assert event.kind == "received"
        assert event.data["box"] == {
            "expected": "3",
            "found": "2",
            "missing": [desk.code(missing)],
            "extra": [],
        }
    assert kinds(season, missing)[-1] == "relinquished"


def test_one_bad_bag_of_a_box_leaves_the_whole_box_unreceived(season: Database, desk: Desk) -> None:
    first, second, _ = three_sent(season)
    form = box_form(desk, first, second)
    form[f"temperature_c-{desk.code(second)}"] = "warm"
    assert desk.refused("/desk/receive", **form) == "not-a-number"
    assert kinds(season, first)[-1] == "relinquished"


def test_a_box_without_a_bag_ticked_is_refused(season: Database, desk: Desk) -> None:
    assert desk.refused("/desk/receive", found=[]) == "box-empty"


def test_one_bag_is_received_and_the_page_offers_to_take_it_back(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    assert "Tove Lind signed it away to Carl Otis" in desk.get(f"/desk/receive/{desk.code(sample)}")
    told = desk.post(f"/desk/receive/{desk.code(sample)}", **bag_form(desk, sample))
    assert "The bag is received" in told and "Undo" in told
    assert desk.standing(sample).state == "received"


SPOILED = (
    ("condition", "fine", "unknown-condition"),
    ("condition", ["dry", "wet"], "condition-contradicts"),
    ("seal_state", "glued", "unknown-seal-state"),
    ("seal_state", "missing", "seal-contradicts"),
    ("temperature_c", "900", "not-a-temperature"),
    ("temperature_c", "1,5", "not-a-number"),
    ("reason", "ugly", "unknown-reason"),
    ("seen", "1", "moved-on"),
    ("seen", "", "moved-on"),
)


@pytest.mark.parametrize(("field", "value", "code"), SPOILED)
def test_a_spoiled_receipt_is_refused(
    season: Database, desk: Desk, field: str, value: Any, code: str
) -> None:
    sample = made(season, make_signed_away)
    form = bag_form(desk, sample, **{field: value})
    assert desk.refused(f"/desk/receive/{desk.code(sample)}", **form) == code
    assert desk.standing(sample).state == "in transfer"


def test_a_seal_with_swapped_digits_is_said_before_the_next_scan(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    told = desk.post(f"/desk/receive/{desk.code(sample)}", **bag_form(desk, sample, seal_read="S-004471"))
    assert "have changed places" in told
    assert desk.standing(sample).on_hold


USUAL = (
    ("bag without paper", ["bag-doubted"], False),
    ("wet bag or condensation", ["bag-doubted"], True),
)


@pytest.mark.parametrize(("reason", "codes", "on_hold"), USUAL)
def test_a_reason_brings_its_usual_action_and_a_sentence_to_the_producer(
    season: Database, desk: Desk, reason: str, codes: list[str], on_hold: bool
) -> None:
    sample = made(season, make_signed_away)
    told = desk.post(f"/desk/receive/{desk.code(sample)}", **bag_form(desk, sample, reason=reason))
    event = life(season, sample)[-1]
    assert remarks(event) == codes
    assert desk.standing(sample).on_hold is on_hold
    assert f"Tell the producer: {event.data['producer']}" in told


def test_another_action_than_the_usual_one_may_be_chosen(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    form = bag_form(
        desk, sample, reason="mixed lots", action="accept with remark", told="We test it as one lot."
    )
    assert "Tell the producer: We test it as one lot." in desk.post(
        f"/desk/receive/{desk.code(sample)}", **form
    )
    assert not desk.standing(sample).on_hold


def test_a_refused_bag_stays_with_its_giver(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    told = desk.post(f"/desk/receive/{desk.code(sample)}", **bag_form(desk, sample, reason="mixed lots"))
    assert "The bag was refused" in told and "one bag for each lot" in told
    assert kinds(season, sample)[-1] == "transfer refused"
    holder = desk.standing(sample).holder
    assert holder is not None and holder.party == "tove"


def test_a_bag_that_nobody_signed_away_needs_a_word_why(season: Database, desk: Desk) -> None:
    sample = made(season, make_bag)
    form = bag_form(desk, sample, seal_state="none", seal_read="")
    address = f"/desk/receive/{desk.code(sample)}"
    assert desk.refused(address, **form) == "no-open-transfer"
    desk.post(address, **form, unannounced="Left at the door")
    assert desk.standing(sample).on_hold


@pytest.mark.parametrize(("content", "kind"), [(PNG, "image/png"), (JPEG + bytes(8), "image/jpeg")])
def test_a_photo_is_kept_with_its_hash_and_shown_as_what_it_is(
    season: Database, desk: Desk, content: bytes, kind: str
) -> None:
    sample = made(season, make_signed_away)
    form = bag_form(desk, sample, photo=(BytesIO(content), "torn.txt"))
    desk.post(f"/desk/receive/{desk.code(sample)}", **form)
    digest = hashlib.sha256(content).hexdigest()
    assert digest[:8] in desk.get(f"/desk/receive/{desk.code(sample)}")
    answer = desk.client.get(f"/photo/{digest}")
    assert (answer.data, answer.mimetype) == (content, kind)


NO_PHOTOS = (
    (b"<svg onload=alert(1)>", "not-a-photo"),
    (PNG[:-6], "not-a-photo"),
    (b"GIF89a" + bytes(20), "not-a-photo"),
)


@pytest.mark.parametrize(("content", "code"), NO_PHOTOS)
def test_what_is_no_photo_is_refused_and_the_receipt_with_it(
    season: Database, desk: Desk, content: bytes, code: str
) -> None:
    sample = made(season, make_signed_away)
    form = bag_form(desk, sample, photo=(BytesIO(content), "photo.png"))
    assert desk.refused(f"/desk/receive/{desk.code(sample)}", **form) == code
    assert desk.standing(sample).state == "in transfer"


def test_a_photo_nobody_kept_is_not_found(desk: Desk) -> None:
    assert desk.client.get(f"/photo/{'0' * 64}").status_code == 404


def test_a_bag_that_is_here_already_says_so(season: Database, desk: Desk) -> None:
    sample = made(season, make_received)
    assert "It is here already: received" in desk.get(f"/desk/receive/{desk.code(sample)}")


def test_the_receipt_leads_back_to_the_box_and_never_to_another_address(season: Database, desk: Desk) -> None:
    sample = made(season, make_signed_away)
    address, form = f"/desk/receive/{desk.code(sample)}", bag_form(desk, sample)
    answer = desk.client.post(address, data={**form, "then": "//elsewhere.example/"})
    assert answer.location == "/desk/receive"


def test_the_stub_is_told_from_the_bag(desk: Desk) -> None:
    answer = desk.client.get("/desk/receive", query_string={"scan": f"HTTPS://HAY.EXAMPLE/T/{TOKEN}"})
    assert answer.status_code == 422 and "the producer's stub" in unescape(answer.text)
