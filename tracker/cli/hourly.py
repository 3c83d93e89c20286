"""While the pages are served, a head is signed over whatever has waited an hour for one."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tracker.storage.engine import Database

LOOK_SECONDS = 60.0
logger = logging.getLogger("tracker")


@contextmanager
def signing_hourly(season: Database, every: float = LOOK_SECONDS) -> Iterator[None]:
    """Look every so many seconds, beside whatever else goes on, until the end."""
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(every):
            sign_what_waits(season)

    thread = threading.Thread(target=watch, name="signing", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join(timeout=5)


def sign_what_waits(season: Database) -> bool:
    """Sign a head if entries have waited an hour. Whether one was signed; a fault is told in the server's words."""
    from sqlalchemy.exc import DBAPIError

    from tracker.errors import TrackerError
    from tracker.steps.sign_log import is_due, sign

    try:
        now = season.clock()
        # Most looks find nothing to do, and they keep nobody waiting.
        with season.read() as session:
            if not is_due(session, now):
                return False
        with season.act("custody head", "", {}) as session:
            return sign(session, now) is not None
    except (TrackerError, DBAPIError) as fault:
        logger.warning("no head was signed: %s", fault)
        return False
