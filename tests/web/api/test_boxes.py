"""A box goes over whole or not at all, and a photo is kept as it was taken."""

from __future__ import annotations

from typing import Any

import pytest
from werkzeug.test import TestResponse

from tests.makers import SEAL, at, made, make_received, make_sealed, make_signed_away, standing
from tests.steps.test_keep_photo import END, START
from tests.web.api.conftest import Program, ProgramAs
from tracker.steps.keep_photo import MOST_BYTES
from tracker.storage.custody import events_of
from tracker.storage.engine import Database

JPEG = START + bytes(40) + END
PICTURE = "image/jpeg"


def codes_of(season: Database, maker: Any, count: int) -> list[str]:
    samples = [made(season, maker, field=f"Field {number}") for number in range(count)]
    return [str(standing(season, sample).code) for sample in samples]


def states(season: Database, program: Program, codes: list[str]) -> list[str]:
    return [program.get(f"/samples/{code}").json["state"] for code in codes]


def test_three_bags_are_signed_away_at_once(season: Database, program_as: ProgramAs) -> None:
    codes = codes_of(season, make_sealed, 3)
    season.clock = lambda: at(200)
    answer = program_as("tove").post("/hand-overs", {"samples": codes, "to": "carl", "waybill": "W-7"})
    assert answer.status_code == 200, answer.text
    assert [one["state"] for one in answer.json["bags"]] == ["in transfer"] * 3
    (one, *_) = program_as("carl").get("/expected-bags", waybill="W-7").json["items"]
    assert (one["giver"], one["waybill"]) == ("tove", "W-7")
    assert program_as("carl").get("/expected-bags", waybill="W-8").json["items"] == []


def test_one_bag_that_cannot_go_keeps_the_whole_box_and_is_named(
    season: Database, program_as: ProgramAs
) -> None:
    codes = [*codes_of(season, make_sealed, 2), "lot 99"]
    season.clock = lambda: at(200)
    program = program_as("tove")
    answer = program.post("/hand-overs", {"samples": codes, "to": "carl"})
    assert (answer.status_code, answer.json["code"], answer.json["line"]) == (404, "unknown-lot", 3)
    assert states(season, program, codes[:2]) == ["sealed", "sealed"]


def test_a_box_is_received_with_what_is_missing_and_what_was_decided(
    season: Database, program_as: ProgramAs
) -> None:
    first, second, third = codes_of(season, make_signed_away, 3)
    season.clock = lambda: at(240)
    seen = {"condition": ["dry"], "seal_state": "intact", "seal_read": SEAL}
    program = program_as("carl")
    doubted = {"sample": second, **seen, "reason": "torn or spilled"}
    answer = program.post("/receipts", {"bags": [{"sample": first, **seen}, doubted]})
    assert answer.status_code == 200, answer.text
    told = answer.json
    assert [one["state"] for one in told["bags"]] == ["received", "received"]
    assert told["bags"][0]["holds"] == [] and "torn or spilled" in " ".join(told["bags"][1]["holds"])
    assert (told["missing"], told["extra"]) == ([third], [])


def photo(program: Program, entry: int, content: bytes, media: str = PICTURE, key: str = "p") -> TestResponse:
    headers = {**program.headers, "Idempotency-Key": key}
    return program.http.post(
        f"/api/v1/entries/{entry}/photos", data=content, content_type=media, headers=headers
    )


@pytest.fixture
def entry(season: Database) -> int:
    """Carl's receipt of a bag, by its number in the log."""
    sample = made(season, make_received)
    with season.read() as session:
        return events_of(session, sample.id)[-1].seq


def test_a_photo_comes_back_byte_for_byte_and_is_kept_once(
    season: Database, program_as: ProgramAs, entry: int
) -> None:
    program = program_as("carl")
    first = photo(program, entry, JPEG)
    again = photo(program, entry, JPEG)
    assert (first.status_code, again.json) == (201, first.json)
    assert again.headers["Idempotent-Replayed"] == "true"
    kept = program.get(f"/photos/{first.json['sha256']}")
    assert (kept.data, kept.mimetype) == (JPEG, PICTURE)
    assert photo(program, entry, JPEG[:-2] + b"x" + END).json["code"] == "key-used"


@pytest.mark.parametrize(
    ("content", "media", "status", "code"),
    [
        (b"%PDF-1.7", PICTURE, 422, "not-a-photo"),
        (START + bytes(MOST_BYTES) + END, PICTURE, 422, "photo-too-large"),
        (JPEG, "application/json", 415, "not-sent-as-json"),
        (JPEG, "image/gif", 415, "not-sent-as-json"),
    ],
)
def test_what_is_no_photo_is_refused(
    program_as: ProgramAs, entry: int, content: bytes, media: str, status: int, code: str
) -> None:
    answer = photo(program_as("carl"), entry, content, media)
    assert (answer.status_code, answer.json["code"]) == (status, code)


def test_only_whoever_made_the_entry_adds_a_photo_to_it(program_as: ProgramAs, entry: int) -> None:
    answer = photo(program_as("ana"), entry, JPEG)
    assert (answer.status_code, answer.json["code"]) == (422, "not-own-entry")
    answer = photo(program_as("carl"), 9999, JPEG)
    assert (answer.status_code, answer.json["code"]) == (404, "unknown-entry")
