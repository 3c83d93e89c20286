"""What a program that talks to the office may do: scopes, each a stretch of the sample's way or of the office's work.

A scope opens a kind of act; the role of the person the program acts for decides too, as it does at the pages.
"""

from __future__ import annotations

from collections.abc import Sequence

from tracker.errors import Refused

SCOPES = {
    "read": "ask for anything that the person may see",
    "field": "register lots, plan coring, record cores, bind and replace tags",
    "intake": "hand over, receive, keep photos, store, weigh, and see oven loads to their end",
    "lab": "grind, make runs, take in result files and bundles, choose analyses, freeze limits, hold and lift",
    "release": "issue reports",
    "office": "add producers, share results, take in lists, print and issue tags, plan seasons, set what is decided",
}


def scopes_read(given: Sequence[str]) -> tuple[str, ...]:
    """The scopes in the order they stand in above, each once. Raises Refused `scope-missing`, `not-a-scope`."""
    if not given:
        raise Refused(
            "scope-missing",
            "It is not said what the program may do.",
            field="scope",
            remedy=f"Name one or more of {', '.join(SCOPES)}.",
        )
    for one in given:
        if one not in SCOPES:
            raise Refused(
                "not-a-scope",
                f"{one!r} is no scope.",
                field="scope",
                remedy=f"Choose from {', '.join(SCOPES)}.",
            )
    return tuple(one for one in SCOPES if one in given)
