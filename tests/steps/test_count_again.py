"""What is kept beside the log says nothing of its own: whatever is done to it, it is made again as it was."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import delete, insert, select, update
from sqlalchemy.orm import Session

from tests.makers import act, done, make_dried, make_received, make_tag
from tests.result_files import Bench, released, row, taken_in, written
from tracker.steps.bag_cores import replace_tag
from tracker.steps.count_again import Counted, count_again
from tracker.steps.weigh_in import weigh
from tracker.storage.base import Base
from tracker.storage.bulk import table_of
from tracker.storage.custody import StandingRow
from tracker.storage.hay_counts import HayCount, HayShare
from tracker.storage.released import ReleasedValue
from tracker.storage.search_words import SearchWord
from tracker.storage.tallies import AnswerTime, CoringTally, DryAgain, LabelTally

TABLES: tuple[tuple[str, type[Base], dict[str, Any]], ...] = (
    ("where samples stand", StandingRow, {"state": "lost"}),
    ("cores taken", CoringTally, {"cores": 1}),
    ("labels", LabelTally, {"season": 1999}),
    ("days to the answer", AnswerTime, {"from_coring": 1}),
    ("dry weights taken twice", DryAgain, {"apart": "0"}),
    ("hay of the year", ReleasedValue, {"value": Decimal("1.0")}),
    ("hay of the year", HayCount, {"lots": 77}),
    ("hay of the year", HayShare, {"lots": 77}),
    ("words to find by", SearchWord, {"word": "zzz"}),
)


@pytest.fixture
def full(bench: Bench) -> Bench:
    """A season with at least a row in each of the tables."""
    season = bench.season
    for number, sample in enumerate(bench.samples):
        taken_in(bench, written([row(bench.codes[number])]), name=f"{number}.csv", minute=1400 + number)
        released(bench, sample, minute=1500 + number)
    released(bench, bench.samples[0], minute=9000, reason="once more")
    torn = done(season, lambda s: make_received(s, field="Torn"))
    done(season, lambda s: replace_tag(s, torn, make_tag(s), act(s, "carl", 300), reason="torn"))
    again = done(season, lambda s: make_dried(s, field="Again", load="A-1"))
    done(season, lambda s: weigh(s, again, "dry again", "250.9", act(s, "ana", 1300)))
    return bench


def rows(session: Session, table: type[Base]) -> set[tuple[Any, ...]]:
    return {tuple(one) for one in session.execute(select(table_of(table)))}


def again(session: Session) -> dict[str, Counted]:
    return {one.what: one for one in count_again(session)}


def test_what_steps_keep_is_what_all_that_happened_says(full: Bench) -> None:
    with full.season.act("count", "", {}) as session:
        before = [rows(session, table) for _, table, _ in TABLES]
        found = again(session)
        assert [rows(session, table) for _, table, _ in TABLES] == before
    assert all(before) and not any(one.wrong for one in found.values())
    assert found["where samples stand"].rows == len(before[0])


@pytest.mark.parametrize(
    ("what", "table", "change"), TABLES, ids=lambda one: getattr(one, "__tablename__", None)
)
def test_a_row_that_was_changed_or_taken_away_is_told_and_made_again(
    full: Bench, what: str, table: type[Base], change: dict[str, Any]
) -> None:
    columns = table_of(table)
    with full.season.act("count", "", {}) as session:
        before = rows(session, table)
        one = session.execute(select(columns).order_by(*columns.primary_key)).first()
        assert one is not None
        mine = [
            column == value for column, value in zip(columns.primary_key, key_of(table, one), strict=True)
        ]
        for spoil in (update(columns).where(*mine).values(**change), delete(columns).where(*mine)):
            session.execute(spoil)
            assert rows(session, table) != before
            found = again(session)
            assert rows(session, table) == before
            assert {name for name, one in found.items() if one.wrong} == {what} and found[what].wrong == 1


def key_of(table: type[Base], one: Any) -> list[Any]:
    return [getattr(one, column.name) for column in table_of(table).primary_key]


def test_a_row_that_nothing_stands_behind_is_taken_away(full: Bench) -> None:
    with full.season.act("count", "", {}) as session:
        made_up = {"kind": "tag", "word": "nobody", "subject_id": 1}
        session.execute(insert(table_of(SearchWord)), [made_up])
        assert again(session)["words to find by"].wrong == 1
        assert again(session)["words to find by"].wrong == 0
