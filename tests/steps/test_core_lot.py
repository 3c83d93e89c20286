"""Recording what was really cored."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, at, done, kinds, life, made, make_cored, make_plan, plans, refused
from tracker.steps.core_lot import core_lot
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database


def cored(session: Session, sample: Sample, minute: float = 60, **changes: Any) -> EventRow:
    return core_lot(session, sample, act(session, "tove", minute), **changes)


def picks(season: Database, sample: Sample) -> dict[int, int]:
    """The plan's bales with their cores."""
    (body,) = plans(season, sample)
    return {int(pick["bale"]): int(pick["cores"]) for pick in body["picks"]}


def test_coring_as_planned_needs_no_numbers(season: Database) -> None:
    sample = made(season, make_cored)
    data = life(season, sample)[-1].data
    assert (data["plan"], data["cores_taken"], data["entry"], data["deviations"]) == (1, "20", "end", [])
    assert (data["started_at"], data["bales"]) == ("2026-06-20T09:40:00-05:00", None)


def test_the_bales_ticked_on_the_card_are_kept_and_counted(season: Database) -> None:
    sample = made(season, make_plan)
    bales = picks(season, sample)
    row = done(season, lambda s: cored(s, sample, bales=bales, cores_taken="20", composite_g="250.0"))
    assert row.data["bales"] == {str(bale): str(cores) for bale, cores in bales.items()}
    assert (row.data["cores_taken"], row.data["deviations"]) == ("20", [])
    assert row.data["composite_g"] == "250.0"


def test_another_bale_than_planned_becomes_a_deviation_by_itself(season: Database) -> None:
    sample = made(season, make_plan)
    bales = picks(season, sample)
    bales[118] = bales.pop(min(bales))
    row = done(season, lambda s: cored(s, sample, bales=bales))
    assert any("118" in words for words in row.data["deviations"])


def test_another_entry_than_planned_becomes_a_deviation_by_itself(season: Database) -> None:
    sample = made(season, make_plan)
    row = done(season, lambda s: cored(s, sample, entry="side"))
    assert row.data["entry"] == "side"
    assert any("side" in words for words in row.data["deviations"])


def test_fewer_cores_than_planned_need_a_word_why(season: Database) -> None:
    sample = made(season, make_plan)
    assert refused(season, lambda s: cored(s, sample, cores_taken="18")).code == "deviation-missing"
    blank = refused(season, lambda s: cored(s, sample, cores_taken="18", deviations=[" "]))
    assert blank.code == "deviation-missing"
    row = done(season, lambda s: cored(s, sample, cores_taken="18", deviations=["the probe bent"]))
    assert row.data["deviations"] == ["18 cores in all, planned were 20.", "the probe bent"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"cores_taken": "0"}, "not-a-count"),
        ({"cores_taken": "twenty"}, "not-a-count"),
        ({"entry": "top"}, "not-an-entry"),
        ({"started_at": at(61)}, "coring-times-reversed"),
        ({"composite_g": "-3"}, "not-a-weight"),
        ({"bales": {119: 20}}, "no-such-bale"),
        ({"bales": {2: 20}, "cores_taken": "21"}, "cores-contradict-bales"),
    ],
)
def test_a_coring_spoiled_in_one_field_is_not_recorded(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    sample = made(season, make_plan)
    assert refused(season, lambda s: cored(s, sample, **changes), **changes).code == code


def test_a_lot_is_cored_once_for_one_sample(season: Database) -> None:
    sample = made(season, make_cored)
    assert refused(season, lambda s: cored(s, sample, 61)).code == "wrong-state"
    assert kinds(season, sample) == ["plan issued", "cored"]


# The clock of the device, 5 minutes of doubt allowed (tracker.domain.times.CLOCK_SKEW).
def test_a_clock_that_runs_ahead_is_not_believed_and_that_is_said(season: Database) -> None:
    sample = made(season, make_plan)
    done(season, lambda s: core_lot(s, sample, act(s, "tove", 70, heard=60)))
    event = life(season, sample)[-1]
    assert event.clock_doubted
    assert event.occurred_at == at(60)
    with season.read() as session:
        assert session.get_one(EventRow, event.seq).device_at == at(70).isoformat()


def test_a_clock_that_runs_ahead_a_little_is_not_doubted_and_what_was_heard_of_has_happened(
    season: Database,
) -> None:
    sample = made(season, make_plan)
    done(season, lambda s: core_lot(s, sample, act(s, "tove", 65, heard=60)))
    event = life(season, sample)[-1]
    assert (event.clock_doubted, event.occurred_at) == (False, at(60))


def test_the_devices_own_offset_is_kept(season: Database) -> None:
    sample = made(season, make_cored)
    assert life(season, sample)[-1].occurred_at.isoformat() == "2026-06-20T10:00:00-05:00"


@pytest.mark.parametrize(("heard", "late"), [(60 + 24 * 60, False), (61 + 24 * 60, True)])
def test_an_entry_heard_of_after_more_than_a_day_is_late(season: Database, heard: float, late: bool) -> None:
    sample = made(season, make_plan)
    done(season, lambda s: core_lot(s, sample, act(s, "tove", 60, heard=heard)))
    assert life(season, sample)[-1].late is late
