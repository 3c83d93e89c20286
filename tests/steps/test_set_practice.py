"""The programme makes a rule its own."""

from __future__ import annotations

from decimal import Decimal

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import act, done, refused
from tracker.domain.practice import RULES, Practice
from tracker.steps.set_practice import set_practice
from tracker.storage.engine import Database
from tracker.storage.kept import PracticeValue, practice_in_force

GOOD = {"rule": "cores", "value": "25", "source": "our trial of 2025", "reason": "uneven hay"}


def chosen(session: Session, **changes: str) -> PracticeValue:
    given = {**GOOD, **changes}
    return set_practice(session, given.pop("rule"), given.pop("value"), act(session, "lena", 0), **given)


def in_force(season: Database) -> Practice:
    with season.read() as session:
        return practice_in_force(session)


def test_the_programmes_own_value_is_in_force_with_its_source(season: Database) -> None:
    assert not in_force(season).is_own("cores")
    row = done(season, chosen)
    practice = in_force(season)
    assert (practice.number("cores"), practice.source("cores")) == (Decimal(25), "our trial of 2025")
    assert (row.by, row.reason, practice.is_own("cores")) == ("lena", "uneven hay", True)
    assert practice.number("cores_least") == RULES["cores_least"].default


def test_the_latest_value_counts_and_the_earlier_stays(season: Database) -> None:
    done(season, chosen)
    done(season, lambda s: chosen(s, value="22.0", source="NFTA"))
    assert str(in_force(season).number("cores")) == "22.0"
    with season.read() as session:
        assert session.scalars(select(PracticeValue.value).order_by(PracticeValue.id)).all() == ["25", "22.0"]


def test_a_choice_of_words_is_one_of_those_offered(season: Database) -> None:
    done(season, lambda s: chosen(s, rule="lot_limit_basis", value="dry matter"))
    assert in_force(season).word("lot_limit_basis") == "dry matter"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"rule": "bales"}, "unknown-rule"),
        ({"value": "many"}, "not-a-number"),
        ({"value": "-1"}, "not-positive"),
        ({"rule": "lot_limit_basis", "value": "wet"}, "not-a-choice"),
        ({"source": " "}, "reason-missing"),
        ({"reason": ""}, "reason-missing"),
    ],
)
def test_a_value_spoiled_in_one_field_changes_no_rule(
    season: Database, changes: dict[str, str], code: str
) -> None:
    assert refused(season, lambda s: chosen(s, **changes), by="lena", **changes).code == code
    assert not in_force(season).is_own(GOOD["rule"])
