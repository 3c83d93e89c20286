"""A roll in the hands of people: who carries which tags, and what became of every one."""

from __future__ import annotations

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from tests.makers import act, done, make_cored, refused
from tracker.lookups.tag_rolls import rolls, strays
from tracker.steps.bag_cores import bag_cores
from tracker.steps.issue_tags import count_in, issue_tags
from tracker.steps.print_tags import print_tags, void_run, void_tag
from tracker.storage.engine import Database
from tracker.storage.people import party
from tracker.storage.tags import Tag


@pytest.fixture
def roll(season: Database) -> list[str]:
    """Ten tags for lots that nobody knows yet; their codes in the order of their numbers."""
    with season.act("print", "carl", {}) as session:
        print_tags(session, [None] * 10, act(session, "carl", 0), base_url="https://hay.example", layout={})
    with season.read() as session:
        return list(session.scalars(select(Tag.code).order_by(Tag.number)))


def issued(session: Session, first: int, last: int, to: str = "tove", run: int = 1) -> list[Tag]:
    return issue_tags(session, run, first, last, party(session, to), act(session, "carl", 1))


def test_every_tag_of_a_roll_is_accounted_for(season: Database, roll: list[str]) -> None:
    # Requirement of good tag keeping: issued = on bags + void + in hand. Our rule.
    done(season, lambda s: issued(s, 1, 4))
    done(season, lambda s: issued(s, 5, 6, to="ulf"))
    with season.act("bag", "tove", {}) as session:
        bag_cores(session, make_cored(session), roll[0], act(session, "tove", 120))
    done(season, lambda s: void_tag(s, roll[1], act(s, "tove", 130), reason="torn"))
    done(season, lambda s: count_in(s, [roll[2]], act(s, "carl", 140)))
    with season.read() as session:
        (found,) = rolls(session)
        assert strays(session) == ()
    assert (found.printed, found.bound, found.void, found.in_office) == (10, 1, 1, 5)
    assert {name: len(codes) for name, codes in found.carried.items()} == {"Tove Lind": 1, "Ulf Brandt": 2}
    assert found.accounted


def test_a_tag_used_by_another_than_its_carrier_is_a_stray_and_is_taken_all_the_same(
    season: Database, roll: list[str]
) -> None:
    done(season, lambda s: issued(s, 1, 2, to="ulf"))
    with season.act("bag", "tove", {}) as session:
        bag_cores(session, make_cored(session), roll[0], act(session, "tove", 120))
    with season.read() as session:
        (stray,) = strays(session)
    assert (stray.issued_to, stray.bound_by) == ("Ulf Brandt", "Tove Lind")


def test_tags_that_are_used_or_void_are_passed_over(season: Database, roll: list[str]) -> None:
    done(season, lambda s: void_tag(s, roll[1], act(s, "carl", 1), reason="smeared"))
    assert [tag.code for tag in done(season, lambda s: issued(s, 1, 3))] == [roll[0], roll[2]]


def test_a_tag_goes_from_one_carrier_to_the_next(season: Database, roll: list[str]) -> None:
    done(season, lambda s: issued(s, 1, 1))
    done(season, lambda s: issued(s, 1, 1, to="ulf"))
    with season.read() as session:
        assert session.scalars(select(Tag.issued_to).where(Tag.code == roll[0])).one() == "ulf"


@pytest.mark.usefixtures("roll")
@pytest.mark.parametrize(
    ("spoiled", "code"),
    [
        ({"run": 9}, "unknown-run-of-tags"),
        ({"to": "box"}, "not-a-carrier-of-tags"),
        ({"to": "van"}, "not-a-carrier-of-tags"),
        ({"first": 3, "last": 2}, "not-a-stretch"),
        ({"first": 0}, "not-a-stretch"),
        ({"first": 11, "last": 20}, "nothing-to-issue"),
    ],
)
def test_what_cannot_be_issued_is_refused(season: Database, spoiled: dict[str, object], code: str) -> None:
    given: dict[str, object] = {"first": 1, "last": 3, **spoiled}
    assert refused(season, lambda s: issued(s, **given)).code == code  # type: ignore[arg-type]


def test_only_what_somebody_carries_is_counted_in_and_all_of_it_or_nothing(
    season: Database, roll: list[str]
) -> None:
    done(season, lambda s: issued(s, 1, 1))
    error = refused(season, lambda s: count_in(s, roll[:2], act(s, "carl", 2)))
    assert error.code == "not-issued"


def test_a_failed_print_run_is_made_void_in_one_act_and_what_is_on_bags_stays(
    season: Database, roll: list[str]
) -> None:
    with season.act("bag", "tove", {}) as session:
        bag_cores(session, make_cored(session), roll[8], act(session, "tove", 120))
    spoilt = done(season, lambda s: void_run(s, 1, act(s, "carl", 130), reason="the ribbon ran out", first=6))
    assert [tag.code for tag in spoilt] == [*roll[5:8], roll[9]]
    with season.read() as session:
        (found,) = rolls(session)
    assert (found.bound, found.void, found.in_office, found.accounted) == (1, 4, 5, True)
    error = refused(season, lambda s: void_run(s, 1, act(s, "carl", 140), reason="again", first=6))
    assert error.code == "nothing-to-void"
