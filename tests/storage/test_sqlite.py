"""What is true of a season in one file only."""

from __future__ import annotations

import pytest
from sqlalchemy import text

from tracker.storage.engine import Database

ONLY_ON = ("sqlite",)


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("recursive_triggers", 1),
        ("busy_timeout", 30_000),
    ],
)
def test_every_connection_writes_through_checks_references_and_waits(
    database: Database, pragma: str, value: object
) -> None:
    # sqlite.org/pragma.html: synchronous 2 is FULL, the log reaches the disk before a commit returns.
    with database.read() as session:
        assert session.scalar(text(f"pragma {pragma}")) == value
