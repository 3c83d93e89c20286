"""Binding a tag to a bag, sealing it, and giving it another tag."""

from __future__ import annotations

import pytest
from sqlalchemy.orm import Session

from labels import payload
from tests.makers import (
    SEAL,
    act,
    done,
    kinds,
    made,
    make_bag,
    make_cored,
    make_lot,
    make_plan,
    make_received,
    make_sealed,
    make_tag,
    refused,
    standing,
)
from tracker.steps.bag_cores import bag_cores, replace_tag, seal_bag
from tracker.steps.print_tags import void_tag
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.tags import tag_coded


def bound(session: Session, sample: Sample, code: str, minute: float = 65) -> None:
    bag_cores(session, sample, code, act(session, "tove", minute))


def state(season: Database, code: str) -> tuple[str, int | None]:
    with season.read() as session:
        tag = tag_coded(session, code)
        return tag.state, tag.sample_id


def tag_of(season: Database, sample: Sample) -> str:
    code = standing(season, sample).code
    assert code is not None
    return code


def test_the_bag_takes_its_tag_and_somebody_has_it_from_then_on(season: Database) -> None:
    sample = made(season, make_cored)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    assert standing(season, sample).holder is None
    done(season, lambda s: bound(s, sample, code))
    found = standing(season, sample)
    assert (found.state, found.code, found.holder and found.holder.party) == ("bagged", code, "tove")
    assert state(season, code) == ("bound", sample.id)


def test_a_code_typed_with_a_gap_and_in_small_letters_is_the_same_code(season: Database) -> None:
    sample = made(season, make_cored)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    done(season, lambda s: bound(s, sample, payload.shown(code).lower()))
    assert tag_of(season, sample) == code


def test_a_tag_from_a_roll_takes_the_lot_of_its_bag(season: Database) -> None:
    sample = made(season, make_cored)
    code = done(season, make_tag)
    done(season, lambda s: bound(s, sample, code))
    with season.read() as session:
        assert tag_coded(session, code).lot_id == sample.lot_id


def test_a_tag_names_one_bag_for_ever(season: Database) -> None:
    first = made(season, make_bag)
    code = tag_of(season, first)

    def second(session: Session) -> Sample:
        return make_cored(session, make_plan(session, first.lot_id, minute=30))

    other = made(season, second)
    answer = refused(season, lambda s: bound(s, other, code), code=code)
    assert answer.code == "tag-bound"
    assert kinds(season, other) == ["plan issued", "cored"]
    assert state(season, code) == ("bound", first.id)


def test_a_tag_from_a_roll_bound_to_one_bag_names_no_bag_of_another_lot(season: Database) -> None:
    first = made(season, make_cored)
    code = done(season, make_tag)
    done(season, lambda s: bound(s, first, code))
    other = made(season, make_cored, field="Short field")
    assert refused(season, lambda s: bound(s, other, code)).code == "tag-bound"


def test_a_tag_printed_for_another_lot_is_refused(season: Database) -> None:
    sample = made(season, make_cored)
    other = done(season, lambda s: make_lot(s, field="Short field"))
    code = done(season, lambda s: make_tag(s, other.id))
    answer = refused(season, lambda s: bound(s, sample, code))
    assert (answer.code, f"lot {other.id}" in answer.message) == ("tag-of-other-lot", True)


def test_a_void_tag_names_no_bag(season: Database) -> None:
    sample = made(season, make_cored)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    done(season, lambda s: void_tag(s, code, act(s, "tove", 62), reason="torn"))
    assert refused(season, lambda s: bound(s, sample, code)).code == "tag-void"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("RT2GZSK2", "unknown-tag"),
        ("RT2GZSK3", "code-check"),
        ("RT2GZS", "code-length"),
        ("12345678", "code-digits"),
        ("", "code-missing"),
        ("U*AAAAAA", "code-characters"),
    ],
)
def test_what_is_no_code_of_ours_binds_nothing(season: Database, text: str, code: str) -> None:
    sample = made(season, make_cored)
    assert refused(season, lambda s: bound(s, sample, text), code=text).code == code


def test_a_bag_is_bound_once(season: Database) -> None:
    sample = made(season, make_bag)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    assert refused(season, lambda s: bound(s, sample, code, 70)).code == "wrong-state"
    assert state(season, code) == ("printed", None)


def test_no_bag_without_cores(season: Database) -> None:
    sample = made(season, make_plan)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    assert refused(season, lambda s: bound(s, sample, code)).code == "wrong-state"


def test_a_seal_is_kept_as_it_is_read(season: Database) -> None:
    sample = made(season, make_bag)
    done(season, lambda s: seal_bag(s, sample, " s-00 4417 ", act(s, "tove", 66)))
    found = standing(season, sample)
    assert (found.state, found.seal) == ("sealed", SEAL)


@pytest.mark.parametrize(
    ("seal", "who", "code"), [(" ", "tove", "entry-incomplete"), (SEAL, "ulf", "not-the-holder")]
)
def test_a_seal_without_a_number_or_from_another_hand_is_refused(
    season: Database, seal: str, who: str, code: str
) -> None:
    sample = made(season, make_bag)
    assert refused(season, lambda s: seal_bag(s, sample, seal, act(s, who, 66)), by=who).code == code


def test_a_spoilt_tag_is_replaced_and_void(season: Database) -> None:
    sample = made(season, make_received)
    old = tag_of(season, sample)
    fresh = done(season, lambda s: make_tag(s, sample.lot_id, minute=240))
    done(season, lambda s: replace_tag(s, sample, fresh, act(s, "carl", 245), reason="wet"))
    found = standing(season, sample)
    assert (found.code, found.state) == (fresh, "received")
    assert (state(season, old)[0], state(season, fresh)) == ("void", ("bound", sample.id))


@pytest.mark.parametrize(
    ("reason", "who", "code"), [("", "carl", "reason-missing"), ("wet", "ulf", "not-the-holder")]
)
def test_a_replacement_spoiled_in_one_field_leaves_both_tags_as_they_were(
    season: Database, reason: str, who: str, code: str
) -> None:
    sample = made(season, make_received)
    fresh = done(season, lambda s: make_tag(s, sample.lot_id, minute=240))
    step = lambda s: replace_tag(s, sample, fresh, act(s, who, 245), reason=reason)  # noqa: E731
    assert refused(season, step, by=who).code == code


def test_a_tag_bound_elsewhere_replaces_nothing(season: Database) -> None:
    sample, other = made(season, make_sealed), made(season, make_bag, field="Short field")
    code = tag_of(season, other)
    answer = refused(season, lambda s: replace_tag(s, sample, code, act(s, "tove", 70), reason="torn"))
    assert answer.code == "tag-bound"


def test_a_bag_without_a_tag_has_none_to_replace(season: Database) -> None:
    sample = made(season, make_cored)
    code = done(season, lambda s: make_tag(s, sample.lot_id))
    answer = refused(season, lambda s: replace_tag(s, sample, code, act(s, "tove", 65), reason="torn"))
    assert answer.code == "no-tag-yet"
