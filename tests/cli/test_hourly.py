"""A head is signed by the hour while the pages are served."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.makers import at, make_bag
from tracker.cli.hourly import sign_what_waits, signing_hourly
from tracker.files.key_file import KeyFile
from tracker.storage.engine import Database
from tracker.storage.log import entries, last_head


@pytest.fixture
def signed(season: Database, tmp_path: Path) -> Database:
    season.key_file = KeyFile(tmp_path / "season.key")
    season.key_file.make("hay.example")
    with season.act("make", "tove", {}) as session:
        make_bag(session)
    return season


def size(season: Database) -> int:
    with season.read() as session:
        head = last_head(session)
    return head.size if head else 0


def written(season: Database) -> int:
    with season.read() as session:
        return entries(session)


def turned(season: Database, when: datetime) -> None:
    season.clock = lambda: when


def test_entries_that_have_waited_an_hour_get_a_head_and_no_head_comes_twice(signed: Database) -> None:
    first = size(signed)
    assert 0 < first < written(signed)
    with signed.read() as session:
        head = last_head(session)
    assert head is not None
    turned(signed, head.at + timedelta(minutes=59))
    assert not sign_what_waits(signed)
    turned(signed, head.at + timedelta(minutes=60))
    assert sign_what_waits(signed) and size(signed) == written(signed)
    turned(signed, head.at + timedelta(hours=9))
    assert not sign_what_waits(signed), "nothing was added since"


def test_without_a_key_nothing_is_signed_and_nobody_is_disturbed(season: Database) -> None:
    with season.act("make", "tove", {}) as session:
        make_bag(session)
    turned(season, at(100_000))
    assert not sign_what_waits(season) and size(season) == 0


def test_it_looks_by_itself_while_the_pages_are_served(signed: Database) -> None:
    before = size(signed)
    turned(signed, at(100_000))
    with signing_hourly(signed, every=0.01):
        end = time.monotonic() + 20
        while size(signed) == before and time.monotonic() < end:
            time.sleep(0.01)
    assert size(signed) == written(signed) > before


def test_a_fault_is_told_and_the_server_goes_on(signed: Database, caplog: pytest.LogCaptureFixture) -> None:
    assert signed.key_file is not None
    signed.key_file.path.write_text("spilt")
    turned(signed, at(100_000))
    with caplog.at_level("WARNING", logger="tracker"):
        assert not sign_what_waits(signed)
    assert "no head was signed" in caplog.text
