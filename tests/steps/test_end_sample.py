"""The end of a sample's way."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import (
    act,
    done,
    kinds,
    life,
    made,
    make_bag,
    make_cored,
    make_ground,
    make_plan,
    make_received,
    make_signed_away,
    make_weighed,
    refused,
    standing,
)
from tracker.steps.end_sample import archive, cancel, dispose, give_back, lose
from tracker.steps.hand_over import relinquish
from tracker.storage.coring import Sample
from tracker.storage.engine import Database
from tracker.storage.people import party


def kept(session: Session, sample: Sample, place: str = "store", who: str = "ana") -> None:
    archive(session, sample, party(session, place), act(session, who, 1400))


def thrown(session: Session, sample: Sample, who: str = "ana", method: str = "composted") -> None:
    dispose(session, sample, act(session, who, 1500), method=method)


def returned(session: Session, sample: Sample, who: str = "carl", reason: str = "asked for") -> None:
    give_back(session, sample, act(session, who, 1500), reason=reason)


def lost(session: Session, sample: Sample, who: str = "tove", circumstances: str = "fell off") -> None:
    lose(session, sample, act(session, who, 1500), circumstances=circumstances)


def called_off(session: Session, sample: Sample, who: str = "tove", reason: str = "hay was sold") -> None:
    cancel(session, sample, act(session, who, 1500), reason=reason)


def test_what_is_left_is_kept_in_a_place_and_thrown_away_later(season: Database) -> None:
    sample = made(season, make_ground)
    done(season, lambda s: kept(s, sample))
    found = standing(season, sample)
    assert (found.state, found.holder and found.holder.party) == ("archived", "store")
    done(season, lambda s: thrown(s, sample))
    assert standing(season, sample).state == "disposed"
    assert life(season, sample)[-1].data["method"] == "composted"


@pytest.mark.parametrize("place", ["carl", "van"])
def test_a_rest_is_kept_in_a_place_and_nowhere_else(season: Database, place: str) -> None:
    sample = made(season, make_ground)
    assert refused(season, lambda s: kept(s, sample, place)).code == "not-a-place-to-store"


@pytest.mark.parametrize(
    ("maker", "step", "state"),
    [
        (make_received, thrown, "disposed"),
        (make_received, returned, "returned"),
        (make_bag, lost, "lost"),
        (make_signed_away, lost, "lost"),
        (make_weighed, lost, "lost"),
        (make_plan, called_off, "cancelled"),
    ],
)
def test_after_an_end_nothing_follows(
    season: Database, maker: Callable[..., Sample], step: Callable[..., None], state: str
) -> None:
    sample = made(season, maker)
    done(season, lambda s: step(s, sample))
    assert standing(season, sample).state == state
    assert refused(season, lambda s: lost(s, sample)).code == "sample-ended"
    hand_on = lambda s: relinquish(s, sample, party(s, "carl"), act(s, "tove", 1600))  # noqa: E731
    assert refused(season, hand_on).code == "sample-ended"


@pytest.mark.parametrize(
    ("maker", "step", "changes", "code"),
    [
        (make_ground, kept, {"who": "ulf"}, "not-the-holder"),
        (make_ground, thrown, {"who": "ulf"}, "not-the-holder"),
        (make_ground, thrown, {"method": " "}, "entry-incomplete"),
        (make_received, returned, {"who": "ulf"}, "not-the-holder"),
        (make_received, returned, {"reason": ""}, "reason-missing"),
        (make_bag, lost, {"circumstances": ""}, "entry-incomplete"),
        (make_plan, called_off, {"reason": ""}, "reason-missing"),
        (make_cored, called_off, {}, "wrong-state"),
        (make_weighed, kept, {}, "wrong-state"),
        (make_weighed, thrown, {}, "wrong-state"),
        (make_weighed, returned, {}, "wrong-state"),
    ],
)
def test_an_end_spoiled_in_one_field_ends_nothing(
    season: Database,
    maker: Callable[..., Sample],
    step: Callable[..., None],
    changes: dict[str, Any],
    code: str,
) -> None:
    sample = made(season, maker)
    before = kinds(season, sample)
    assert refused(season, lambda s: step(s, sample, **changes), **changes).code == code
    assert kinds(season, sample) == before
