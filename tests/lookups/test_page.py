"""Lists come page by page, and the pages together are the whole list."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, at, done, made, make_ground, make_lot, make_plan, refused
from tests.result_files import Bench, released, row, taken_in, unknown_code, written
from tracker.errors import Refused
from tracker.lookups.analyses import analyses_page
from tracker.lookups.bench_queue import waiting, waiting_page
from tracker.lookups.entries import entries_page
from tracker.lookups.exports import table_named
from tracker.lookups.exports.hay import results_page
from tracker.lookups.groups import groups_of, groups_page, keepers_page
from tracker.lookups.kept_refusals import parked_page, parked_rows, refusals, refusals_page
from tracker.lookups.lots import answered_page, lots, lots_page, producers, producers_page
from tracker.lookups.page import Key, Page, whole_list
from tracker.lookups.result_files import result_files, result_files_page
from tracker.lookups.retention import kept, rests_page
from tracker.lookups.samples import samples_page
from tracker.lookups.tag_rolls import rolls, rolls_page
from tracker.steps.add_people import add_producer
from tracker.steps.keep_group import keep_group
from tracker.storage.engine import Database

Paged = Callable[..., Page[Any]]
LISTS = (
    lots_page,
    samples_page,
    entries_page,
    producers_page,
    waiting_page,
    rolls_page,
    refusals_page,
    groups_page,
    analyses_page,
    result_files_page,
    parked_page,
    results_page,
)


def page_by_page(session: Session, page: Paged, limit: int) -> list[Any]:
    found: list[Any] = []
    after: Key | None = ()
    while after is not None:
        told = page(session, after=after, limit=limit)
        assert len(told.items) <= limit
        found += told.items
        after = told.next
    return found


@pytest.fixture
def full(bench: Bench) -> Database:
    """A season with several of everything that a list is of."""
    season = bench.season
    rows = [row(code) for code in bench.codes] + [row(unknown_code(number)) for number in range(3)]
    for number in range(3):
        taken_in(bench, written(rows[number::3]), name=f"run {number}.csv")
    released(bench, bench.samples[0])
    for number, name in enumerate(("Åse Hill", "Bo Dale", "ana small")):
        done(season, lambda s, name=name: add_producer(s, name=name, now=at(0)))
        done(season, lambda s, number=number: make_lot(s, field=f"field {number}"))
        refused(season, lambda s: make_lot(s))
        herd = {"kind": "cow", "head": str(number + 1), "weight_lb": "1200", "calving": "2027-03-01"}
        done(
            season,
            lambda s, name=name, herd=herd: keep_group(
                s, name, "old cows", herd, act(s, "carl", 1), reason="asked"
            ),
        )
    return season


def test_the_pages_together_are_the_list_each_line_once(full: Database) -> None:
    for page in LISTS:
        with full.read() as session:
            whole = page(session, limit=500)
            assert whole.next is None and len(whole.items) > 1, page.__name__
            for limit in (1, 2, 3):
                found = page_by_page(session, page, limit)
                assert found == list(whole.items), (page.__name__, limit)
        assert len({repr(one) for one in found}) == len(found), page.__name__


def test_they_hold_what_the_lists_hold_that_are_read_whole(full: Database) -> None:
    def same(page: Paged, whole: Any, by: Callable[[Any], Any]) -> bool:
        return sorted(page(session, limit=500).items, key=by) == sorted(whole, key=by)

    with full.read() as session:
        assert same(lots_page, lots(session), lambda one: one.lot)
        assert same(producers_page, producers(session), lambda one: one.name)
        assert same(waiting_page, waiting(session), lambda one: one.lot)
        assert same(rolls_page, rolls(session), lambda one: one.run)
        assert same(refusals_page, refusals(session), lambda one: one.id)
        assert same(parked_page, parked_rows(session), lambda one: one.id)
        assert same(result_files_page, result_files(session), lambda one: one.id)
        assert same(groups_page, groups_of(session), lambda one: one.producer)
        lines = iter(table_named("results").lines(session))
        names = next(lines)
        table = [dict(zip(map(str, names), line, strict=True)) for line in lines]
        assert same(results_page, table, lambda one: (one["constituent"], one["formula"]))


def test_the_hay_of_others_and_the_rests_to_throw_away_come_in_pages_too(
    full: Database, bench: Bench
) -> None:
    for sample in bench.samples[1:]:
        released(bench, sample)
    now = at(60 * 24 * 400)

    def others(session: Session, **asked: Any) -> Page[Any]:
        return answered_page(session, "Ana Small", **asked)

    def rests(session: Session, **asked: Any) -> Page[Any]:
        return rests_page(session, now, **asked)

    with full.read() as session:
        for page, count in ((others, 4), (rests, 4), (keepers_page, 3)):
            whole = page(session, limit=500).items
            assert len(whole) == count and page_by_page(session, page, 1) == list(whole)
        reported = {one.lot: one for one in lots(session) if one.state == "reported"}
        assert {one.lot: one for one in others(session).items} == reported
        assert answered_page(session, next(iter(reported.values())).producer).items == ()
        assert list(keepers_page(session).items) == list(
            dict.fromkeys(one.producer for one in groups_of(session))
        )
        assert keepers_page(session, named="Bo Dale").items == ("Bo Dale",)
        assert keepers_page(session, named="Nobody").items == ()
        first = kept(session, now)[0]
        assert (first.due, first.samples) == (4, tuple(one.code for one in rests(session).items))


def test_what_is_added_between_two_pages_comes_on_a_later_one_and_nothing_twice(season: Database) -> None:
    for number in range(4):
        done(season, lambda s, number=number: make_lot(s, field=f"field {number}"))
    with season.read() as session:
        first = lots_page(session, limit=3)
    done(season, lambda s: make_lot(s, field="one more"))
    with season.read() as session:
        rest = lots_page(session, first.next or (), limit=3)
    assert [one.lot for one in (*first.items, *rest.items)] == [1, 2, 3, 4, 5]


def test_a_lot_with_two_samples_is_on_one_page_with_the_newest(season: Database) -> None:
    sample = made(season, make_ground)
    made(season, lambda s: make_plan(s, sample.lot_id, minute=1300))
    with season.read() as session:
        (lot,), both = lots_page(session).items, samples_page(session).items
    assert lot.state == "planned" and [(one.number, one.state) for one in both] == [
        (1, "ground"),
        (2, "planned"),
    ]


@pytest.mark.parametrize("after", [("x",), (1, 2), (-1,), (2**31,), (True,), (1.5,)])
def test_what_no_line_is_known_by_is_refused(season: Database, after: Any) -> None:
    with season.read() as session:
        for page in (lots_page, refusals_page, results_page):
            with pytest.raises(Refused) as caught:
                page(session, after=after)
            assert caught.value.code == "not-a-cursor"


@pytest.mark.parametrize("name", ["a\x00b", "\ud800"])
def test_a_name_that_no_database_takes_is_refused(season: Database, name: str) -> None:
    with season.read() as session, pytest.raises(Refused) as caught:
        producers_page(session, after=(name,))
    assert caught.value.code == "not-a-cursor"


def test_a_short_list_is_paged_in_its_order() -> None:
    first = whole_list(["c", "a", "b"], lambda one: (one,), limit=2)
    assert first == Page(("a", "b"), ("b",))
    assert whole_list(["c", "a", "b"], lambda one: (one,), first.next or ()) == Page(("c",), None)
    with pytest.raises(Refused):
        whole_list(["c"], lambda one: (one,), (1,))
