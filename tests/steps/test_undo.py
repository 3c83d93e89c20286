"""Taking back what was entered just now: within ten seconds, by the same person, and the last entry only."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import (
    SEAL,
    act,
    done,
    kinds,
    life,
    made,
    make_bag,
    make_dried,
    make_out_of_oven,
    make_received,
    make_signed_away,
    make_weighed,
    refused,
    remarks,
    standing,
)
from tracker.domain.custody import corrected
from tracker.lookups.dry_matter import dry_matter_of
from tracker.lookups.sample_way import way_of
from tracker.steps.append_event import on_sample
from tracker.steps.dry import empty_oven
from tracker.steps.grind import grind
from tracker.steps.receive import receive
from tracker.steps.undo import UNDOABLE, undo
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample, sample_with_lot
from tracker.storage.custody import EventRow, StandingRow, Undone
from tracker.storage.engine import Database
from tracker.storage.intake import Weighing, weighings_in_force

SECOND = 1 / 60


def last(season: Database, sample: Sample) -> int:
    return life(season, sample)[-1].seq


def take_back(session: Session, seq: int, who: str = "carl", minute: float = 1240 + 5 * SECOND) -> object:
    return undo(session, seq, act(session, who, minute))


def test_a_weighing_taken_back_does_not_count_in_the_dry_matter(season: Database) -> None:
    sample = made(season, make_dried)
    with season.read() as session:
        assert dry_matter_of(session, sample).partial is not None
    done(season, lambda s: take_back(s, last(season, sample)))
    with season.read() as session:
        found = dry_matter_of(session, sample)
    assert (found.tare, found.fresh, found.dry, found.partial) == (
        Decimal("18.6"),
        Decimal("268.6"),
        None,
        None,
    )
    assert standing(season, sample).state == "out of oven"


def test_it_stays_in_the_log_and_the_way_shows_it_struck(season: Database) -> None:
    sample = made(season, make_dried)
    taken = last(season, sample)
    done(season, lambda s: take_back(s, taken))
    assert kinds(season, sample)[-2:] == ["dry weighed", "undone"]
    with season.read() as session:
        way = way_of(session, sample_with_lot(session, sample.id))
        row = session.scalars(select(Undone)).one()
        assert session.scalar(select(Weighing.grams).order_by(Weighing.id.desc()).limit(1)) == Decimal(
            "251.1"
        )
    assert [step.number for step in way.steps if step.undone] == [taken]
    struck, teller = way.steps[-2:]
    assert "Taken back at once; it counts for nothing." in struck.words
    assert (teller.kind, teller.by) == ("undone", "Carl Otis")
    assert teller.words == "What was entered just before was taken back: dry weighed."
    assert (row.event_id, row.by_event_id) == tuple(event.event_id for event in life(season, sample)[-2:])


def test_the_next_weight_goes_in_as_if_the_first_had_never_been(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: take_back(s, last(season, sample)))
    done(season, lambda s: weigh(s, sample, "dry", "241.1", act(s, "carl", 1241), balance="B1"))
    with season.read() as session:
        assert [(row.what, str(row.grams)) for row in weighings_in_force(session, sample.id)] == [
            ("tare", "18.6"),
            ("fresh", "268.6"),
            ("dry", "241.1"),
        ]
    assert standing(season, sample).state == "dried"


def test_the_same_weight_for_the_right_sack_is_not_taken_for_a_sack_left_on_the_pan(season: Database) -> None:
    wrong = made(season, make_out_of_oven, load="L-1")
    right = made(season, make_out_of_oven, load="L-2", field="Far field")
    done(season, lambda s: weigh(s, wrong, "dry", "251.1", act(s, "carl", 1240), balance="B1"))
    done(season, lambda s: take_back(s, last(season, wrong)))
    done(season, lambda s: weigh(s, right, "dry", "251.1", act(s, "carl", 1241), balance="B1"))
    assert remarks(life(season, right)[-1]) == []


def test_where_the_sample_stands_is_kept_with_it(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: take_back(s, last(season, sample)))
    with season.read() as session:
        assert session.get_one(StandingRow, sample.id).state == "out of oven"


def test_a_receipt_taken_back_leaves_the_bag_signed_away(season: Database) -> None:
    sample = made(season, make_received)
    done(season, lambda s: undo(s, last(season, sample), act(s, "carl", 240 + 5 * SECOND)))
    found = standing(season, sample)
    assert found.state == "in transfer" and found.transfer is not None and found.transfer.to.party == "carl"
    done(
        season,
        lambda s: receive(
            s, sample, act(s, "carl", 241), condition=["dry"], seal_state="intact", seal_read=SEAL
        ),
    )
    assert standing(season, sample).state == "received"


def test_a_hold_that_came_with_a_receipt_goes_with_it(season: Database) -> None:
    sample = made(season, make_received, condition=("wet", "torn"))
    if not standing(season, sample).on_hold:
        pytest.fail("a wet, torn bag is expected to be held")
    done(season, lambda s: undo(s, last(season, sample), act(s, "carl", 240 + 5 * SECOND)))
    assert not standing(season, sample).on_hold


def test_a_grind_taken_back_is_to_be_done_again(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: grind(s, sample, "coarse", act(s, "ana", 1260), mill="M1"))
    done(season, lambda s: undo(s, last(season, sample), act(s, "ana", 1260 + 5 * SECOND)))
    assert standing(season, sample).state == "dried"
    done(season, lambda s: grind(s, sample, "coarse", act(s, "ana", 1261), mill="M1"))
    assert standing(season, sample).state == "coarse ground"


@pytest.mark.parametrize("seconds", [0, 10, 12])
def test_ten_seconds_and_the_travel_of_the_answer_are_in_time(season: Database, seconds: int) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: take_back(s, last(season, sample), minute=1240 + seconds * SECOND))
    assert standing(season, sample).state == "out of oven"


def test_thirteen_seconds_are_too_late(season: Database) -> None:
    sample = made(season, make_dried)
    seq = last(season, sample)
    complaint = refused(season, lambda s: take_back(s, seq, minute=1240 + 13 * SECOND), by="carl")
    assert (complaint.code, complaint.field) == ("too-late-to-undo", "event")


def test_nobody_takes_back_what_somebody_else_entered(season: Database) -> None:
    sample = made(season, make_dried)
    seq = last(season, sample)
    assert refused(season, lambda s: take_back(s, seq, who="ana")).code == "not-undoable"


def test_only_the_last_entry_of_a_sample_is_taken_back(season: Database) -> None:
    sample = made(season, make_weighed)
    tare = [event.seq for event in life(season, sample) if event.kind == "tare weighed"]
    complaint = refused(season, lambda s: undo(s, tare[0], act(s, "carl", 250 + 5 * SECOND)))
    assert complaint.code == "not-undoable"


def test_an_entry_of_another_sample_in_between_does_not_matter(season: Database) -> None:
    sample = made(season, make_dried)
    seq = last(season, sample)
    made(season, make_bag, field="Far field")
    done(season, lambda s: take_back(s, seq))
    assert standing(season, sample).state == "out of oven"


def test_what_was_taken_back_is_not_taken_back_twice(season: Database) -> None:
    sample = made(season, make_dried)
    seq = last(season, sample)
    done(season, lambda s: take_back(s, seq))
    assert refused(season, lambda s: take_back(s, seq)).code == "not-undoable"
    assert refused(season, lambda s: take_back(s, seq + 1)).code == "not-undoable"


def test_what_leaves_more_behind_than_itself_is_corrected_and_not_taken_back(season: Database) -> None:
    bagged = made(season, make_bag)
    assert refused(season, lambda s: undo(s, last(season, bagged), act(s, "tove", 65))).code == "not-undoable"
    signed = made(season, make_signed_away, field="Far field")
    assert (
        refused(season, lambda s: undo(s, last(season, signed), act(s, "tove", 200))).code == "not-undoable"
    )
    out = made(season, make_out_of_oven, field="Hill")
    assert refused(season, lambda s: undo(s, last(season, out), act(s, "carl", 1220))).code == "not-undoable"
    assert not {"bagged", "oven in", "oven out", "scanned", "reported", "undone"} & set(UNDOABLE)


def test_an_entry_that_never_was(season: Database) -> None:
    complaint = refused(season, lambda s: undo(s, 999, act(s, "carl", 250)))
    assert (complaint.code, complaint.field) == ("unknown-entry", "event")


def test_a_tags_entry_is_none_of_a_samples(season: Database) -> None:
    made(season, make_bag)
    with season.read() as session:
        entries = session.scalars(select(EventRow.seq).where(EventRow.sample_id.is_(None))).all()
    assert entries
    for seq in entries:
        assert refused(season, lambda s, seq=seq: undo(s, seq, act(s, "tove", 6))).code == "unknown-entry"


def test_an_undone_entry_stays_undone_whatever_is_corrected_later(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: take_back(s, last(season, sample)))
    done(season, lambda s: on_sample(s, "held", sample, {"reason": "to be looked at"}, act(s, "lena", 1250)))
    assert [event.kind for event in corrected(life(season, sample)) if event.undone] == ["dry weighed"]


def test_a_load_is_emptied_after_a_weighing_before_it_was_taken_back(season: Database) -> None:
    sample = made(season, make_out_of_oven)
    done(season, lambda s: weigh(s, sample, "dry", "251.1", act(s, "carl", 1240), balance="B1"))
    done(season, lambda s: take_back(s, last(season, sample)))
    complaint = refused(season, lambda s: empty_oven(s, "L-1", act(s, "carl", 1241)))
    assert complaint.code
