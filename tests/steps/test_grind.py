"""Grinding, coarse and then fine."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    done,
    kinds,
    life,
    made,
    make_dried,
    make_ground,
    make_out_of_oven,
    make_received,
    refused,
    remarks,
    standing,
)
from tracker.steps.grind import grind
from tracker.steps.hold import hold, lift_hold
from tracker.steps.set_practice import set_practice
from tracker.storage.coring import Sample
from tracker.storage.custody import EventRow
from tracker.storage.engine import Database


def ground(
    session: Session,
    sample: Sample,
    stage: str = "coarse",
    who: str = "ana",
    minute: float = 1260,
    **more: Any,
) -> EventRow:
    return grind(session, sample, stage, act(session, who, minute), **{"mill": "M1", **more})


def test_coarse_and_then_fine_through_the_usual_screens(season: Database) -> None:
    sample = made(season, make_ground)
    assert kinds(season, sample)[-2:] == ["coarse ground", "fine ground"]
    coarse, fine = life(season, sample)[-2:]
    # 2 mm and then 1 mm: common practice, and NFTA sample preparation.
    assert (coarse.data["screen_mm"], fine.data["screen_mm"]) == ("2", "1")
    assert standing(season, sample).state == "ground"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"stage": "medium"}, "unknown-grind"),
        ({"stage": "medium", "screen_mm": "2"}, "unknown-grind"),
        ({"stage": "fine"}, "grind-out-of-order"),
        ({"screen_mm": "0"}, "not-positive"),
        ({"screen_mm": ""}, "not-a-number"),
        ({"dm": "101"}, "not-a-percentage"),
        # 80 % is the least for the coarse grind (NFTA sample preparation).
        ({"dm": "79.9"}, "too-moist-to-grind"),
        ({"who": "ulf"}, "not-the-holder"),
    ],
)
def test_a_grind_spoiled_in_one_field_is_not_recorded(
    season: Database, changes: dict[str, Any], code: str
) -> None:
    sample = made(season, make_dried)
    assert refused(season, lambda s: ground(s, sample, **changes), **changes).code == code


def test_the_fine_screen_is_finer_than_the_coarse(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: ground(s, sample))
    answer = refused(season, lambda s: ground(s, sample, "fine", minute=1270, screen_mm="2.0"))
    assert answer.code == "screen-not-finer"


@pytest.mark.parametrize("stage", ["coarse", "fine"])
def test_each_grind_is_done_once(season: Database, stage: str) -> None:
    sample = made(season, make_ground)
    assert refused(season, lambda s: ground(s, sample, stage, minute=1300)).code == "grind-out-of-order"


def test_hay_of_unknown_moisture_is_not_ground(season: Database) -> None:
    sample = made(season, make_received)
    assert refused(season, lambda s: ground(s, sample, minute=250)).code == "too-moist-to-grind"


def test_hay_measured_dry_enough_skips_the_first_oven(season: Database) -> None:
    sample = made(season, make_received)
    row = done(season, lambda s: ground(s, sample, minute=250, dm="91.0"))
    assert (row.data["dm"], standing(season, sample).state) == ("91.0", "coarse ground")


def test_hay_out_of_the_oven_is_weighed_dry_before_it_is_ground(season: Database) -> None:
    sample = made(season, make_out_of_oven)
    assert refused(season, lambda s: ground(s, sample, dm="95.0")).code == "wrong-state"


def test_a_sample_on_hold_is_not_ground_until_somebody_decides(season: Database) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: hold(s, sample, act(s, "carl", 1250), reason="label torn"))
    assert refused(season, lambda s: ground(s, sample)).code == "on-hold"
    done(season, lambda s: lift_hold(s, sample, act(s, "lena", 1255), reason="compared with the card"))
    done(season, lambda s: ground(s, sample))
    assert standing(season, sample).state == "coarse ground"


@pytest.mark.parametrize("screen", ["1.5", "0.5"])
def test_another_screen_than_the_usual_is_remarked_on(season: Database, screen: str) -> None:
    sample = made(season, make_dried)
    done(season, lambda s: ground(s, sample))
    done(season, lambda s: ground(s, sample, "fine", minute=1270, screen_mm=screen, dm="93"))
    assert remarks(life(season, sample)[-1]) == ["screen-not-usual"]


def test_the_programme_may_have_another_usual_screen(season: Database) -> None:
    sample = made(season, make_dried)
    words = {"source": "NFTA sample preparation", "reason": "our new mill"}
    done(season, lambda s: set_practice(s, "coarse_screen", "4", act(s, "lena", 0), **words))
    row = done(season, lambda s: ground(s, sample))
    assert row.data["screen_mm"] == "4" and remarks(life(season, sample)[-1]) == []


def test_a_mill_that_was_not_cleaned_is_kept_as_such(season: Database) -> None:
    sample = made(season, make_dried)
    assert done(season, lambda s: ground(s, sample, cleaned=False)).data["cleaned"] is False
