"""A note of somebody who was turned away, kept in an act of its own so that the refusal does not undo it."""

from __future__ import annotations

from contextlib import suppress

from flask import request

from tracker.errors import TrackerError
from tracker.steps.note_access import note_access
from tracker.web.shared.access import signed_in
from tracker.web.shared.season import now, season


def here() -> str:
    """The address that the request came from, as the server itself has it."""
    return str(request.remote_addr)


def noted(what: str, *, who: str | None = None, about: str = "") -> None:
    """Note it of whoever is signed in, or of `who`; a season that cannot be written keeps no page from anybody."""
    party = signed_in()
    of = who if who is not None else party.key if party else ""
    with suppress(TrackerError), season().act("note access", of, {}) as writing:
        note_access(writing, now(), what, of, here(), about)
