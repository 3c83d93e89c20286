"""Who may open a lot's results by a link, until when, and how often anybody may knock.

A token is a key: whoever has it is let in. What makes that safe is that it cannot be guessed, names one lot or one
producer, ends by a date, and can be taken back singly (W3C TAG finding, Good practices for capability URLs).
"""

from __future__ import annotations

from datetime import date, timedelta

from tracker.errors import Refused

PAUSED, RESUMED, REVOKED = "paused", "resumed", "revoked"
# An adviser is asked about one feeding season; a year holds it, and what nobody remembers ends by itself.
MOST_DAYS = 366
# Links that a producer made by his stub and that still open; more than these are no longer advisers.
MOST_OPEN = 10
# Once the message has been read the stub does as well.
MESSAGE_DAYS = 90
LONGEST_NAME = 60
# Openings from one address in the time below: a family on one line, choosing animals, stays far under it. Of tries
# that open nothing a person makes few. (Our choice; OWASP ASVS 5.0.0, 2.4.1 asks for a limit.)
WITHIN = timedelta(minutes=15)
MOST_OPENINGS, MOST_TRIES = 240, 20


def is_open(change: str | None, until: date | None, today: date) -> bool:
    """Whether a token opens. change: what last became of it; until: the last day, None for a stub."""
    return change not in (PAUSED, REVOKED) and (until is None or today <= until)


def adviser_name(text: str) -> str:
    """Whom a link is made for, with blanks drawn together. Raises Refused `adviser-unnamed`."""
    name = " ".join(text.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise Refused(
            "adviser-unnamed",
            "A link is made for somebody, and the name is missing or too long.",
            field="name",
            remedy=f"Write who it is for, in at most {LONGEST_NAME} letters: Dr. Lee.",
        )
    return name


def last_day(until: date, today: date) -> date:
    """The last day a link opens. Raises Refused `link-date` for a day that is past or more than a year off."""
    if not today <= until <= today + timedelta(days=MOST_DAYS):
        raise Refused(
            "link-date",
            f"A link cannot end on {until.isoformat()}.",
            field="until",
            remedy="Give a day from today on, within a year.",
        )
    return until
