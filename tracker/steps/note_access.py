"""Note who came in, went out, or was turned away: when, who, from where, and to what. Nothing typed is kept."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from tracker.storage.access import AccessEntry

SIGNED_IN, NOT_LET_IN, SIGNED_OUT = "signed in", "sign-in refused", "signed out"
WRONG_CODE, NOT_ALLOWED = "code refused", "turned away"
LINK_MADE, PASSWORD_SET = "link made", "password set"
SHUT_OUT, LET_IN = "shut out", "let in again"
FACTOR_SET, FACTOR_GONE, RECOVERED = (
    "second factor set up",
    "second factor taken away",
    "came in by paper code",
)
# A page that asks again by itself, or a script, fills no table.
ONCE_WITHIN = timedelta(minutes=1)


def note_access(session: Session, now: datetime, what: str, who: str, place: str, about: str = "") -> None:
    """Add an entry; one just like it within the last minute stands for this one too."""
    same = select(AccessEntry.id).where(
        AccessEntry.at > now - ONCE_WITHIN,
        AccessEntry.at <= now + ONCE_WITHIN,
        AccessEntry.what == what,
        AccessEntry.who == who,
        AccessEntry.place == place,
        AccessEntry.about == about,
    )
    if what in (NOT_ALLOWED, NOT_LET_IN, WRONG_CODE) and session.scalar(same.limit(1)) is not None:
        return
    session.add(AccessEntry(at=now, what=what, who=who, place=place, about=about))
    session.flush()
