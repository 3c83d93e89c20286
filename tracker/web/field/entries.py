"""What the phone sends: a list of entries, answered one by one."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from flask import jsonify, request

from tracker.domain.field_entry import MARKER, MOST_ENTRIES
from tracker.domain.times import utc
from tracker.errors import Refused
from tracker.files.field_entries import Batch, read_batch
from tracker.steps.take_entries import take_entries
from tracker.web.field.door import door
from tracker.web.shared.access import STAFF, as_json, for_roles, person
from tracker.web.shared.errors import problem
from tracker.web.shared.season import now, season


@door.post("/field/entries")
@as_json
@for_roles(*STAFF)
def entries() -> Any:
    """Take what was sent. 200 with an answer to each; 400 for what our pages do not send, 413 for more than 50."""
    try:
        batch = read_batch(request.get_data())
        _check_key(batch)
    except Refused as refused:
        return problem(refused, HTTPStatus.BAD_REQUEST)
    if len(batch.entries) > MOST_ENTRIES:
        return problem(_too_many(len(batch.entries)), HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
    moment = now()
    with season().act("take entries", person().key, {"device": batch.device}) as session:
        answers = take_entries(session, batch, person(), moment)
    if _alone() is not None and answers[0].code == "entry-differs":
        # draft-ietf-httpapi-idempotency-key-header-07, section 2.7: the same key with another body.
        first = answers[0]
        other = Refused("entry-differs", first.words or "", field=first.field, remedy=first.remedy or "")
        return problem(other, HTTPStatus.UNPROCESSABLE_ENTITY)
    return jsonify(
        marker=MARKER,
        server_time=utc(now()).isoformat(timespec="milliseconds"),
        answers=[answer.as_data() for answer in answers],
    )


def _alone() -> str | None:
    """The Idempotency-Key of an entry that is sent alone, without its quotes; None where there is none."""
    key = request.headers.get("Idempotency-Key")
    return None if key is None else key.strip().strip('"').lower()


def _check_key(batch: Batch) -> None:
    key = _alone()
    if key is not None and [entry.event_id for entry in batch.entries] != [key]:
        raise Refused(
            "idempotency-key",
            "The Idempotency-Key is not the id of the one entry that was sent.",
            field="Idempotency-Key",
            remedy="Send one entry with its own id, or several without the header.",
        )


def _too_many(count: int) -> Refused:
    return Refused(
        "too-many-entries",
        f"{count} entries were sent at once.",
        field="entries",
        remedy=f"Send at most {MOST_ENTRIES}, and then the next.",
    )
