"""Correcting an entry: the original stays as it was."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    done,
    life,
    made,
    make_bag,
    make_dried,
    make_ground,
    make_received,
    make_weighed,
    refused,
    standing,
    weighed,
)
from tracker.domain.custody import Event, corrected
from tracker.domain.practice import COMMON
from tracker.steps.amend import amend
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing, partial_dm_of, weighings_in_force


def entry(season: Database, sample: Sample, kind: str) -> Event:
    """The sample's latest entry of this kind, as it was recorded."""
    return [event for event in life(season, sample) if event.kind == kind][-1]


def changed(
    session: Session, seq: int, changes: dict[str, str], reason: str = "misread", minute: float = 1400
) -> EventRow:
    return amend(session, seq, changes, act(session, "carl", minute), reason=reason)


def in_force(season: Database, sample: Sample) -> dict[str, Decimal]:
    with season.read() as session:
        return {row.what: row.grams for row in weighings_in_force(session, sample.id)}


def test_a_weight_corrected_stands_and_the_first_stays_beside_it(season: Database) -> None:
    sample = made(season, make_dried)
    wrong = entry(season, sample, "dry weighed")
    row = done(season, lambda s: changed(s, wrong.seq, {"grams": "215.10"}))
    assert entry(season, sample, "dry weighed") == wrong
    assert weighed(season, sample)[-2:] == [("dry", Decimal("251.1")), ("dry", Decimal("215.10"))]
    assert str(in_force(season, sample)["dry"]) == "215.10"
    with season.read() as session:
        fresh = session.scalars(select(Weighing).where(Weighing.event_id == row.event_id)).one()
        assert session.get_one(Weighing, fresh.corrects_id).event_id == wrong.event_id
        assert (fresh.balance, fresh.weighed_at) == ("B1", wrong.occurred_at)
        # By hand: (215.1 - 18.6) / 250.0 = 78.6 %.
        partial = partial_dm_of(weighings_in_force(session, sample.id), COMMON)
    assert partial is not None and partial.value == Decimal("78.6")


def test_the_entry_is_read_with_its_correction_and_its_original(season: Database) -> None:
    sample = made(season, make_dried)
    wrong = entry(season, sample, "dry weighed")
    done(season, lambda s: changed(s, wrong.seq, {"grams": "215.1"}))
    (read,) = [event for event in corrected(life(season, sample)) if event.kind == "dry weighed"]
    assert read.data["grams"] == "215.1"
    assert [first.data["grams"] for first in read.amended] == ["251.1"]
    assert life(season, sample)[-1].data["reason"] == "misread"


def test_a_correction_is_corrected_in_its_turn(season: Database) -> None:
    sample = made(season, make_dried)
    wrong = entry(season, sample, "dry weighed")
    done(season, lambda s: changed(s, wrong.seq, {"grams": "215.1"}))
    done(season, lambda s: changed(s, wrong.seq, {"grams": "225.1"}, minute=1410))
    assert in_force(season, sample)["dry"] == Decimal("225.1")
    assert [str(grams) for what, grams in weighed(season, sample) if what == "dry"] == [
        "251.1",
        "215.1",
        "225.1",
    ]


def test_a_balance_corrected_leaves_the_weight(season: Database) -> None:
    sample = made(season, make_weighed)
    wrong = entry(season, sample, "fresh weighed")
    done(season, lambda s: changed(s, wrong.seq, {"balance": "B2"}, minute=300))
    with season.read() as session:
        row = weighings_in_force(session, sample.id)[-1]
    assert (str(row.grams), row.balance, row.what) == ("268.6", "B2", "fresh")


def test_a_seal_written_wrong_is_corrected(season: Database) -> None:
    sample = made(season, make_received)
    wrong = entry(season, sample, "sealed")
    done(season, lambda s: changed(s, wrong.seq, {"seal": "S-004471"}, minute=300))
    assert standing(season, sample).seal == "S-004471"
    assert entry(season, sample, "sealed").data["seal"] == "S-004417"


def test_a_coring_entry_is_corrected_in_two_fields_at_once(season: Database) -> None:
    sample = made(season, make_bag)
    wrong = entry(season, sample, "cored")
    row = done(
        season, lambda s: changed(s, wrong.seq, {"cores_taken": "19", "composite_g": "240.0"}, minute=300)
    )
    assert row.data["changes"] == {"cores_taken": "19", "composite_g": "240.0"}
    assert weighed(season, sample) == []


@pytest.mark.parametrize(
    ("kind", "changes", "code", "field"),
    [
        ("dry weighed", {"grams": "-1"}, "not-a-weight", "grams"),
        ("dry weighed", {"grams": "2l5.1"}, "not-a-number", "grams"),
        ("dry weighed", {"balance": " "}, "entry-incomplete", "balance"),
        ("dry weighed", {"by": "ana"}, "not-amendable", "by"),
        ("dry weighed", {}, "entry-incomplete", "changes"),
        ("cored", {"cores_taken": "0"}, "not-a-count", "cores_taken"),
        ("cored", {"entry": "top"}, "not-an-entry", "entry"),
        ("received", {"temperature_c": "warm"}, "not-a-number", "temperature_c"),
        ("oven in", {"set_celsius": "-55"}, "not-positive", "set_celsius"),
        ("coarse ground", {"screen_mm": "0"}, "not-positive", "screen_mm"),
        ("relinquished", {"to": "ana"}, "not-amendable", "to"),
        ("bagged", {"code": "RT2GZSK2"}, "not-amendable", "code"),
        ("oven out", {"hours": "20"}, "not-amendable", "hours"),
    ],
)
def test_a_correction_spoiled_in_one_field_is_refused(
    season: Database, kind: str, changes: dict[str, str], code: str, field: str
) -> None:
    sample = made(season, make_ground)
    seq = entry(season, sample, kind).seq
    answer = refused(season, lambda s: changed(s, seq, changes), **changes)
    assert (answer.code, answer.field) == (code, field)


def test_a_correction_wants_a_reason(season: Database) -> None:
    seq = entry(season, made(season, make_dried), "dry weighed").seq
    assert refused(season, lambda s: changed(s, seq, {"grams": "215.1"}, " ")).code == "reason-missing"


def test_a_correction_itself_is_not_amended(season: Database) -> None:
    sample = made(season, make_dried)
    seq = entry(season, sample, "dry weighed").seq
    row = done(season, lambda s: changed(s, seq, {"grams": "215.1"}))
    assert (
        refused(season, lambda s: changed(s, row.seq, {"reason": "x"}, minute=1410)).code == "not-amendable"
    )


@pytest.mark.parametrize("seq", [999, 1])
def test_only_an_entry_in_a_samples_way_is_corrected(season: Database, seq: int) -> None:
    made(season, make_dried)
    # The first entry of the season registers the lot, and is in no sample's way.
    assert refused(season, lambda s: changed(s, seq, {"grams": "1"})).code == "unknown-entry"


def test_a_corrected_dry_weight_above_the_fresh_one_puts_the_sample_on_hold(season: Database) -> None:
    sample = made(season, make_dried)
    wrong = entry(season, sample, "dry weighed")
    done(season, lambda s: changed(s, wrong.seq, {"grams": "391.6"}))
    (hold,) = standing(season, sample).holds
    assert "dry hay weighs" in hold.reason


def test_a_weight_is_not_corrected_to_less_than_its_sack(season: Database) -> None:
    wrong = entry(season, made(season, make_dried), "fresh weighed")
    error = refused(season, lambda s: changed(s, wrong.seq, {"grams": "3.3"}))
    assert error.code == "gross-not-above-tare"


def test_somebody_of_the_field_corrects_only_what_he_recorded(season: Database) -> None:
    sample = made(season, make_dried)
    weight, cores = entry(season, sample, "dry weighed"), entry(season, sample, "cored")

    def by(who: str, seq: int, changes: dict[str, str]) -> Callable[[Session], EventRow]:
        return lambda s: amend(s, seq, changes, act(s, who, 1400), reason="misread")

    assert refused(season, by("ulf", weight.seq, {"grams": "200.0"})).code == "not-allowed"
    assert refused(season, by("ulf", cores.seq, {"cores_taken": "19"})).code == "not-allowed"
    assert done(season, by("tove", cores.seq, {"cores_taken": "19"})).kind == "amended"
