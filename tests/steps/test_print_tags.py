"""Printing tags, printing one again, and making one void."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tests.makers import BASE, act, done, everything, made, make_bag, make_lot, make_tag, refused, standing
from tracker.steps.print_tags import PrintedTag, print_tags, reprint_tag, void_tag
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.tags import PrintRun, tag_coded

# Codes that somebody printed elsewhere before; made with labels.payload.make_code and seeds 0 and 1.
OLD_PAPER, MORE_PAPER = "RT2GZSK2", "84G7ZWYB"


def printed(session: Session, lots: list[int | None], minute: float = 6, **changes: Any) -> list[PrintedTag]:
    given = {"base_url": BASE, "layout": {"stock": "A4", "start": "3"}, **changes}
    return print_tags(session, lots, act(session, "carl", minute, note="for June"), **given)[1]


def test_a_run_makes_one_new_tag_for_each_lot_and_each_place_on_a_roll(season: Database) -> None:
    lot = done(season, make_lot)
    tags = done(season, lambda s: printed(s, [lot.id, None, None]))
    assert [(one.tag.lot_id, one.tag.state) for one in tags] == [
        (lot.id, "printed"),
        (None, "printed"),
        (None, "printed"),
    ]
    assert len({one.tag.code for one in tags}) == len({one.token for one in tags}) == 3
    assert all(payload.read_code(one.tag.code) == one.tag.code for one in tags)
    with season.read() as session:
        run = session.scalars(select(PrintRun)).one()
        assert (run.count, run.layout, run.printed_by, run.reason) == (
            3,
            {"stock": "A4", "start": "3"},
            "carl",
            "for June",
        )
        assert len(session.scalars(select(EventRow).where(EventRow.kind == "tag printed")).all()) == 3


def test_the_stubs_token_is_on_the_paper_and_nowhere_else(season: Database) -> None:
    (one,) = done(season, lambda s: printed(s, [None]))
    assert one.token not in str(everything(season))
    assert one.tag.token_hash == payload.token_hash(one.token)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"lots": []}, "nothing-to-print"),
        ({"lots": [99]}, "unknown-lot"),
        ({"base_url": "hay.example"}, "base-url"),
        ({"codes": ["RT2GZSK3"]}, "code-check"),
        ({"codes": ["RT2G"]}, "code-length"),
        ({"codes": [OLD_PAPER, OLD_PAPER], "lots": [None, None]}, "code-used"),
    ],
)
def test_a_run_spoiled_in_one_field_prints_nothing(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    given = {"lots": [None], **changes}
    assert refused(season, lambda s: printed(s, **given)).code == code


def test_a_code_on_paper_that_exists_is_taken_in_however_it_is_written(season: Database) -> None:
    done(season, lambda s: printed(s, [None], codes=["rt2g-zsk2"]))
    with season.read() as session:
        assert tag_coded(session, "RT2G ZSK2").code == OLD_PAPER
    assert refused(season, lambda s: printed(s, [None], 7, codes=[OLD_PAPER])).code == "code-used"
    assert refused(season, lambda s: printed(s, [None], 7, codes=["rt2gzsk2"])).code == "code-used"


@pytest.mark.parametrize("codes", [[OLD_PAPER], [OLD_PAPER, MORE_PAPER, "355QAKGR"]])
def test_there_is_one_given_code_for_each_tag(season: Database, codes: list[str]) -> None:
    answer = refused(season, lambda s: printed(s, [None, None], codes=codes))
    assert answer.field == "codes"


def test_a_tag_printed_again_keeps_its_code_and_its_old_stub_opens_nothing(season: Database) -> None:
    (first,) = done(season, lambda s: printed(s, [None]))
    old_hash = first.tag.token_hash

    def again(session: Session) -> PrintedTag:
        words: dict[str, Any] = {"reason": "smeared", "base_url": BASE, "layout": {}}
        return reprint_tag(session, first.tag.code, act(session, "carl", 9), **words)[1]

    fresh = done(season, again)
    assert (fresh.tag.code, fresh.tag.state) == (first.tag.code, "printed")
    assert fresh.tag.token_hash == payload.token_hash(fresh.token) != old_hash


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"reason": " "}, "reason-missing"),
        ({"base_url": "hay.example"}, "base-url"),
        ({"text": OLD_PAPER}, "unknown-tag"),
        ({"text": "12345678"}, "code-digits"),
    ],
)
def test_a_reprint_spoiled_in_one_field_leaves_the_old_stub_good(
    season: Database, changes: dict[str, str], code: str
) -> None:
    text = done(season, make_tag)
    given: dict[str, Any] = {"text": text, "reason": "smeared", "base_url": BASE, "layout": {}, **changes}
    assert refused(season, lambda s: reprint_tag(s, act=act(s, "carl", 9), **given)).code == code


def test_a_void_tag_is_bound_reprinted_and_voided_no_more(season: Database) -> None:
    code = done(season, make_tag)
    done(season, lambda s: void_tag(s, code, act(s, "carl", 8), reason="misprinted"))
    words: dict[str, Any] = {"reason": "again", "base_url": BASE, "layout": {}}
    assert refused(season, lambda s: void_tag(s, code, act(s, "carl", 9), reason="x")).code == "tag-void"
    assert refused(season, lambda s: reprint_tag(s, code, act(s, "carl", 9), **words)).code == "tag-void"


def test_a_tag_that_names_a_bag_is_replaced_and_not_voided(season: Database) -> None:
    code = standing(season, made(season, make_bag)).code
    assert code is not None
    answer = refused(season, lambda s: void_tag(s, code, act(s, "tove", 70), reason="torn"))
    assert answer.code == "tag-names-a-bag"


def test_voiding_wants_a_reason(season: Database) -> None:
    code = done(season, make_tag)
    assert refused(season, lambda s: void_tag(s, code, act(s, "carl", 8), reason="")).code == "reason-missing"


def test_printing_says_nothing_in_a_samples_way(season: Database) -> None:
    sample = made(season, make_bag)
    with season.read() as session:
        rows = session.scalars(select(EventRow).where(EventRow.tag_id.is_not(None)).order_by(EventRow.seq))
        found = [(row.kind, row.sample_id) for row in rows]
    assert found == [("tag printed", None), ("bagged", sample.id), ("tag bound", None)]
