"""What phones still owe the office, and tags that are on two bags; of the whole programme, whatever the season."""

from __future__ import annotations

from sqlalchemy.orm import Session

from labels import payload
from tracker.lookups.contested_tags import Contest, contested_tags
from tracker.lookups.page import Page, whole_list
from tracker.lookups.phones import Phone, phones
from tracker.lookups.programme.figure import Asked, Cells, Figure, Listing, Scope, listing


def phones_owe(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Phones with entries not sent, entries that never came, wrong clocks, and contested tags."""
    found = phones(session)
    unsent = [one for one in found if one.unsent]
    lost = sum(last - first + 1 for one in found for first, last in one.gaps)
    wrong = sum(one.clock_badly_wrong for one in found)
    entries = sum(one.unsent or 0 for one in unsent)
    return (
        Figure(
            "phones:unsent",
            "with entries not sent",
            len(unsent),
            "phones",
            f"{entries} entries, as they said",
        ),
        Figure("phones:gaps", "numbered and never come", lost, "entries", "gaps in a phone's own count"),
        Figure("phones:clock", "with a clock badly wrong", wrong, "phones"),
        Figure("contested", "tags on two bags", len(contested_tags(session)), "tags", "wait for a decision"),
    )


def owing(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The phones that a figure counts, the one heard of last first."""
    keeps = {
        "unsent": lambda one: bool(one.unsent),
        "gaps": lambda one: bool(one.gaps),
        "clock": lambda one: one.clock_badly_wrong,
    }.get(asked.which, lambda one: True)
    found = [one for one in phones(session) if keeps(one)]
    # By place in the list: it is in the order of moments that may be the same.
    page = whole_list(list(enumerate(found)), lambda one: (one[0],), asked.after, asked.limit)
    rows = Page(tuple(_cells(phone) for _, phone in page.items), page.next)
    heading = ("Phone", "Called", "Last used by", "Last heard of (UTC)", "Not sent", "Never came", "Clock")
    return listing("Phones", "As they said when they were last heard of.", heading, rows)


def _cells(one: Phone) -> Cells:
    return one.short, one.called, one.by, one.last_at, one.unsent, one.gaps_said, one.clock


def contested(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The tags that two bags claim, the one contested first first."""
    found = list(enumerate(contested_tags(session)))
    page = whole_list(found, lambda one: (one[0],), asked.after, asked.limit)
    rows = Page(tuple(_claims(contest) for _, contest in page.items), page.next)
    return listing("Tags on two bags", "Decide on the page of the phones.", ("Tag", "Bags", "Lots"), rows, 0)


def _claims(one: Contest) -> Cells:
    return payload.shown(one.code), len(one.claims), ", ".join(f"lot {claim.lot}" for claim in one.claims)
