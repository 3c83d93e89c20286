"""What `tracker doctor` says of the signed log: is its key there and safe, and how much is not signed yet."""

from __future__ import annotations

import os
import stat
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from tracker.storage.engine import Database

# A head is signed every hour while the log is in use (docs/custody.md).
UNSIGNED_LOOK, UNSIGNED_BAD = timedelta(hours=2), timedelta(days=2)
Found = tuple[Literal["OK", "look", "bad"], str, str]


def log_key(season: Database) -> Found:
    """Whether the key that signs the log is there, whole, and its owner's alone."""
    from tracker.errors import TrackerError

    file = season.key_file
    if file is None:
        return (
            "look",
            "It is not said where the log's key lies.",
            "Set TRACKER_LOG_KEY_FILE, then `tracker init`.",
        )
    try:
        key = file.key()
    except TrackerError as fault:
        return "bad", fault.message, fault.remedy
    if key is None:
        return "look", f"No key signs the log: there is none in {file.path}.", "`tracker init` makes it."
    if os.name == "posix" and file.path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        return "bad", f"Others on this computer can read {file.path}.", f"chmod 600 {file.path}"
    return "OK", f"The log is signed with {key.public.name}, whose key is in {file.path}.", ""


def log_head(season: Database, now: datetime) -> Found:
    """Whether anything waits too long for a signature."""
    from sqlalchemy.exc import DBAPIError

    from tracker.storage.custody import next_seq
    from tracker.storage.log import last_head

    try:
        with season.read() as session:
            events, head = next_seq(session) - 1, last_head(session)
    except DBAPIError:
        return "look", "The log could not be looked at.", "Look at the database first."
    newer = events - (head.size if head else 0)
    if newer == 0:
        return "OK", "Every entry is under a signed head.", ""
    words = f"{newer} of {events} entries are newer than the last signed head."
    waited = None if head is None else now - head.at
    verdict: Literal["OK", "look", "bad"] = "OK"
    if waited is None or waited > UNSIGNED_LOOK:
        verdict = "bad" if waited is not None and waited > UNSIGNED_BAD else "look"
    return verdict, words, "Run `tracker custody head` every hour." if verdict != "OK" else ""
