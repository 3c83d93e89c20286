"""Who may see which page. Every view says whom it is for, and a test holds each role against each address."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from flask import g

from tracker.domain.custody import LAB_ROLES, ROLES, Party
from tracker.errors import Refused

View = TypeVar("View", bound=Callable[..., Any])
EVERYONE = ("anyone",)
STAFF = ROLES
LAB = LAB_ROLES
# Who answers for producers and for what leaves the house.
OFFICE = ("clerk", "lead")
BENCH = ("analyst", "lead")
LEAD = ("lead",)


def for_roles(*roles: str) -> Callable[[View], View]:
    """Say whom a view is for: roles, or "anyone" for those who are not signed in too."""

    def mark(view: View) -> View:
        view.roles = roles  # type: ignore[attr-defined]
        return view

    return mark


def as_json(view: View) -> View:
    """Say that a view talks with a script: whatever stands in its way is said in JSON, never as a page."""
    view.as_json = True  # type: ignore[attr-defined]
    return view


def without_factor(view: View) -> View:
    """Open a view to those too who have still to set up the second factor that the programme wants of them."""
    view.without_factor = True  # type: ignore[attr-defined]
    return view


def may_owe(view: Any) -> bool:
    """Whether the view is open to somebody without a second factor: what is for anyone, and what sets it up."""
    return "anyone" in getattr(view, "roles", ()) or bool(getattr(view, "without_factor", False))


def signed_in() -> Party | None:
    """Whoever is signed in on this device, if anybody is."""
    found: Party | None = g.get("party")
    return found


def person() -> Party:
    """Whoever is signed in. Raises Refused `sign-in-needed`."""
    found = signed_in()
    if found is None:
        raise Refused(
            "sign-in-needed",
            "Nobody is signed in on this device.",
            remedy="Sign in, and nothing typed is lost.",
        )
    return found


def may(view: Any) -> bool:
    """Whether whoever is here may have this view; a view that does not say is for nobody."""
    roles = getattr(view, "roles", ())
    if "anyone" in roles:
        return True
    found = signed_in()
    return found is not None and found.role in roles
