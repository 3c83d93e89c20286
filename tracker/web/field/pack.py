"""What the phone takes along."""

from __future__ import annotations

import uuid
from contextlib import suppress
from typing import Any

from flask import jsonify, request
from flask_wtf.csrf import generate_csrf

from tracker.domain.field_entry import MARKER
from tracker.domain.times import utc
from tracker.errors import TrackerError
from tracker.lookups.field_pack import field_pack
from tracker.steps.take_entries import keep_pack_taken
from tracker.web.field.door import door
from tracker.web.field.shell import version
from tracker.web.shared.access import STAFF, as_json, for_roles, person
from tracker.web.shared.season import now, reading, season


@door.get("/field/pack")
@as_json
@for_roles(*STAFF)
def pack() -> Any:
    """The pack of whoever is signed in; ?device=UUID&unsent=N tells which phone takes it, and what it has left."""
    with reading() as session:
        taken = field_pack(session, person())
    _note_contact()
    return jsonify(
        marker=MARKER,
        server_time=utc(now()).isoformat(timespec="milliseconds"),
        csrf=generate_csrf(),
        version=version(),
        **taken,
    )


def _note_contact() -> None:
    """Note that this phone was heard of, and what it says it still has.

    A question that writes: nothing that anybody asked for changes by it, as with a line in a log (RFC 9110, section
    9.2.1), and the phone's next question for its pack is the only word there is of a phone that sends nothing.
    """
    device, unsent = request.args.get("device", ""), request.args.get("unsent", "")
    with suppress(ValueError, TrackerError):
        name = str(uuid.UUID(device))
        left = int(unsent) if unsent.isascii() and unsent.isdigit() and len(unsent) < 7 else None
        # A pack is not kept from anybody because this note could not be written.
        with season().act("take the pack", person().key, {}) as writing:
            keep_pack_taken(writing, name, request.args.get("name", "")[:200], left, person(), now())
