"""A producer's group is put down, changed and taken off; what stood before stays."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, refused
from tracker.domain.herd import Group
from tracker.lookups.groups import group_named, groups_of
from tracker.steps.keep_group import keep_group, take_off_group
from tracker.storage.engine import Database
from tracker.storage.feeding import group_versions

COWS = {"kind": "cow", "head": "30", "weight_lb": "1275", "calving": "2027-03-01"}


def keeping(
    name: str = "spring cows", producer: str = "Oda Meadow", reason: str = "told by phone", **values: str
) -> Any:
    def step(session: Session) -> Group:
        return keep_group(session, producer, name, values, act(session, "carl", 10), reason=reason)

    return step


def taking_off(name: str = "spring cows", reason: str = "sold") -> Any:
    def step(session: Session) -> Group:
        return take_off_group(session, "Oda Meadow", name, act(session, "carl", 20), reason=reason)

    return step


def versions(season: Database) -> list[tuple[int, int]]:
    with season.read() as session:
        return [(row.version, row.head) for row, _ in group_versions(session)]


def test_a_group_is_put_down_and_found_by_its_producer(season: Database) -> None:
    group = done(season, keeping(**COWS))
    assert group == Group("spring cows", "cow", 30, D(1275), date(2027, 3, 1))
    with season.read() as session:
        (line,) = groups_of(session)
        assert (line.producer, line.group) == ("Oda Meadow", group)
        assert group_named(session, "Oda Meadow", " Spring  COWS ") == group


def test_a_change_leaves_the_rest_as_it_was(season: Database) -> None:
    done(season, keeping(**COWS, peak_milk_lb="18"))
    assert done(season, keeping("Spring cows", head="28")).head == 28
    changed = done(season, keeping(peak_milk_lb="", condition="5.5"))
    assert changed.name == "spring cows" and changed.peak_milk_lb is None and changed.condition == D("5.5")
    assert versions(season) == [(1, 30), (2, 28), (3, 28)]


def test_a_group_that_is_gone_is_no_longer_listed_and_can_come_back(season: Database) -> None:
    done(season, keeping(**COWS))
    done(season, taking_off())
    with season.read() as session:
        assert groups_of(session, "Oda Meadow") == ()
    assert refused(season, taking_off(), by="carl").code == "unknown-group"
    done(season, keeping(**COWS))
    assert versions(season) == [(1, 30), (2, 0), (3, 30)]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"producer": "Nobody"}, "unknown-producer"),
        ({"name": " "}, "group-name-missing"),
        ({"reason": ""}, "reason-missing"),
        ({"kind": "steer"}, "unknown-kind"),
        ({"calving": ""}, "calving-missing"),
        ({"weight_lb": "58o"}, "not-a-number"),
        ({"head": "0"}, "not-a-count"),
        ({"colour": "red"}, "unknown-group-value"),
    ],
)
def test_a_group_that_cannot_be_is_refused_and_kept(
    season: Database, changes: dict[str, str], code: str
) -> None:
    assert refused(season, keeping(**{**COWS, **changes}), by="carl").code == code  # type: ignore[arg-type]


def test_the_same_again_is_refused(season: Database) -> None:
    done(season, keeping(**COWS))
    assert refused(season, keeping(**COWS), by="carl").code == "nothing-changed"


def test_a_group_nobody_knows_is_refused_with_those_that_are_known(season: Database) -> None:
    done(season, keeping(**COWS))
    with season.read() as session, pytest.raises(Exception, match="Known: spring cows"):
        group_named(session, "Oda Meadow", "goats")
