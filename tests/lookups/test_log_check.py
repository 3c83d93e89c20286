"""The log looked through: a season that the steps made is whole, and whatever was done past them shows."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.cli.stages import Stages, build
from tracker.lookups.log_check import MOST_FAULTS, LogCheck, check_log
from tracker.storage.engine import Database


@pytest.fixture(scope="module")
def stages(season_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Stages:
    return build(season_template, tmp_path_factory.mktemp("log") / "season.db")


@pytest.fixture
def raw(stages: Stages, tmp_path: Path) -> Iterator[sqlite3.Connection]:
    """A copy of a season with a sample at every station, and no guard on its log."""
    with closing(sqlite3.connect(shutil.copy(stages.path, tmp_path / "s.db"), isolation_level=None)) as raw:
        raw.execute("drop trigger event_no_update")
        raw.execute("drop trigger event_no_delete")
        yield raw


def looked(raw: sqlite3.Connection) -> LogCheck:
    path = raw.execute("pragma database_list").fetchone()[2]
    with closing(Database(f"sqlite:///{path}")) as season, season.read() as session:
        return check_log(session)


def test_what_the_steps_made_is_whole(raw: sqlite3.Connection) -> None:
    found = looked(raw)
    assert found.whole and found.faults == ()
    assert found.events == raw.execute("select count(*) from event").fetchone()[0] > 100
    assert found.samples > 10 and found.tags > 10


@pytest.mark.parametrize(
    ("done", "said"),
    [
        ("delete from event where seq = 40", "Event 40 is missing from the log."),
        ("delete from event where seq = 1", "The log begins with event 2"),
        ("update event set kind = 'stored' where kind = 'received'", "cannot be added up"),
        ("update event set by = 'ulf' where kind = 'bagged'", "stands otherwise than its events say"),
        ("update standing set holder = 'ulf' where sample_id = 6", "Sample 6 stands otherwise"),
        ("update standing set hold = null where hold is not null", "say: hold."),
        ("update standing set last_at = '2020-01-01 00:00:00' where sample_id = 3", "say: last_at."),
        ("delete from standing where sample_id = 4", "Sample 4 has events and no standing."),
        ("update tag set state = 'void' where state = 'bound'", "is void, and its events say bound"),
        ("update tag set state = 'printed' where state = 'issued'", "is printed, and its events say issued"),
        ("update tag set sample_id = 1 where state = 'bound'", "which is not bound to it"),
        ("update event set kind = 'tag bound' where kind = 'tag printed'", "do not follow from one another"),
        ("insert into undone select event_id, event_id from event where seq = 9", "is told in two ways"),
    ],
)
def test_whatever_is_done_past_the_steps_shows(raw: sqlite3.Connection, done: str, said: str) -> None:
    assert raw.execute(done).rowcount > 0
    found = looked(raw)
    assert not found.whole and any(said in fault for fault in found.faults), found.faults


def test_no_more_is_said_than_somebody_reads(raw: sqlite3.Connection) -> None:
    raw.execute("delete from event where seq % 2 = 0")
    assert len(looked(raw).faults) == MOST_FAULTS
