"""Acts: a body as described, done once for each key, and the first answer for ever after."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from contextlib import suppress
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from flask import Response, request
from marshmallow import ValidationError

from tracker.domain.custody import Act
from tracker.domain.times import moment
from tracker.errors import Conflict, Refused, TrackerError, Unavailable
from tracker.steps.keep_answer import first_answer, keep_answer
from tracker.web.api.asking import checked_place
from tracker.web.api.door import let_in
from tracker.web.api.entry import JSON, Doing, Entry
from tracker.web.shared.errors import status_of
from tracker.web.shared.problems import MEDIA_TYPE, Faulty, faults, problem_body
from tracker.web.shared.season import now, reading, season

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from tracker.lookups.clients import Client

# draft-ietf-httpapi-idempotency-key-header-07: a structured string, so in quotes; without them it is taken too.
_KEY = re.compile(r'"?([\x21\x23-\x5b\x5d-\x7e]{1,100})"?')
# What may well go through the next time is not kept as the answer.
_PASSING = ("perhaps-recorded", "recorded-meanwhile", "key-used")


def do(entry: Entry, place: dict[str, Any]) -> Response:
    """Do the act once, and say what became of it; the same key with the same body gets the same answer."""
    client = let_in(entry)
    checked_place(place)
    if entry.tries:
        return _tried(entry, place, client, body_of(entry)[0])
    key, (given, raw) = _key(), body_of(entry)
    digest = _digest(raw)
    try:
        kept = _first(client, key, digest)
        if kept is None:
            return _done(entry, place, client, key, digest, given, raw)
    except Conflict as conflict:
        # Somebody was doing the very same just now, and has done it.
        if conflict.code != "recorded-meanwhile" or (kept := _first(client, key, digest)) is None:
            raise
    return _said(*kept, again=True)


def _tried(entry: Entry, place: dict[str, Any], client: Client, given: dict[str, Any]) -> Response:
    """What would become of it; nothing is kept, and so nothing needs a key."""
    if entry.scope == "read":
        # A question that takes a body; it is no act, and holds up nobody who has one.
        with reading() as session:
            return _said(entry.status, _shaped(entry, _do(session, entry, place, client, given)))
    with season().act(f"program: {entry.name}", client.party.key, place) as session:
        return _said(entry.status, _shaped(entry, _do(session, entry, place, client, given)))


def _done(
    entry: Entry,
    place: dict[str, Any],
    client: Client,
    key: str,
    digest: str,
    given: dict[str, Any],
    raw: dict[str, Any],
) -> Response:
    kept: tuple[int, Any] | None
    try:
        if entry.before is not None:
            given = _before(entry.before, given)
        with season().act(f"program: {entry.name}", client.party.key, {**place, **_short(raw)}) as session:
            before = first_answer(session, client.id, key, digest)
            if before is not None:
                return _said(before.status, before.answer, again=True)
            body = _shaped(entry, _do(session, entry, place, client, dict(given)))
            keepable = {name: None if name in entry.secret else value for name, value in body.items()}
            keep_answer(session, client.id, key, digest, entry.status, keepable, now())
        return _said(entry.status, body)
    except TrackerError as refused:
        if refused.code in _PASSING or isinstance(refused, Unavailable):
            raise
        status, body = int(status_of(refused)), problem_body(refused, status_of(refused), request.path)
        kept = _keep_refused(client, key, digest, status, body)
        return _said(*kept) if kept else _said(status, body)


def _before(step: Callable[..., dict[str, Any]], given: dict[str, Any]) -> dict[str, Any]:
    """What the act is done with, made of what was sent; when it happened and what was noted stay as they are."""
    own = {name: value for name, value in given.items() if name not in Doing().fields}
    return {**step(**own), **{name: value for name, value in given.items() if name not in own}}


def _do(session: Session, entry: Entry, place: dict[str, Any], client: Client, given: dict[str, Any]) -> Any:
    moment_now = now()
    said = given.pop("at", None)
    act = Act(
        client.party,
        moment(said, field="at") if said else moment_now.astimezone(),
        moment_now,
        device=f"program {client.name}",
        note=given.pop("note", ""),
        late_reason=given.pop("late_reason", ""),
    )
    return entry.do(session, act, **place, **given)


def _keep_refused(client: Client, key: str, digest: str, status: int, body: Any) -> tuple[int, Any] | None:
    """The first answer, which is this refusal unless somebody was before us; None where it cannot be kept now."""
    with suppress(TrackerError):
        with season().act("keep an answer", client.party.key, {}) as session:
            row = first_answer(session, client.id, key, digest)
            row = row or keep_answer(session, client.id, key, digest, status, body, now())
        return row.status, row.answer
    return None


def _first(client: Client, key: str, digest: str) -> tuple[int, Any] | None:
    with season().read() as session:
        row = first_answer(session, client.id, key, digest)
        return None if row is None else (row.status, row.answer)


def _shaped(entry: Entry, found: Any) -> dict[str, Any]:
    assert entry.answer is not None
    shaped: dict[str, Any] = entry.answer().dump(found)
    return shaped


def _said(status: int, body: Any, *, again: bool = False) -> Response:
    media = JSON if status < 400 else MEDIA_TYPE
    answer = Response(json.dumps(body, ensure_ascii=False), status, content_type=media)
    if again:
        answer.headers["Idempotent-Replayed"] = "true"
    return answer


def _digest(given: dict[str, Any]) -> str:
    whole = json.dumps([request.path, given], sort_keys=True, default=str)
    return hashlib.sha256(whole.encode()).hexdigest()


def _key() -> str:
    found = _KEY.fullmatch(request.headers.get("Idempotency-Key", "").strip())
    if found is None:
        raise Refused(
            "key-missing",
            "This act came without an Idempotency-Key, or with one that is none.",
            field="Idempotency-Key",
            remedy="Send the header with a fresh UUID for every new act, and the same one when you try again.",
        )
    return found[1]


def _short(raw: dict[str, Any]) -> dict[str, Any]:
    """What is kept with a refusal: a file's content is not."""
    return {name: value for name, value in raw.items() if name != "content"}


def body_of(entry: Entry) -> tuple[dict[str, Any], dict[str, Any]]:
    """What was sent, read, and as it was sent.

    Raises Refused `not-sent-as-json`, `not-json`, Faulty `not-as-described`.
    """
    takes = entry.takes or (JSON,)
    if request.mimetype not in takes:
        raise Refused(
            "not-sent-as-json",
            f"The body was sent as {request.mimetype or 'nothing'}.",
            remedy=f"Send what this address takes, and the header Content-Type: {' or '.join(takes)}.",
        )
    if request.args:
        raise _faulty([{"parameter": name, "detail": "Unknown."} for name in request.args])
    if entry.takes:
        content = request.get_data()
        return {"content": content}, {"sha256": hashlib.sha256(content).hexdigest()}
    assert entry.given is not None
    raw = _json()
    try:
        return entry.given().load(raw), raw
    except ValidationError as wrong:
        raise _faulty(list(faults(wrong.messages))) from None


def _json() -> Any:
    try:
        found = json.loads(request.get_data(), parse_float=Decimal, parse_constant=_no_number)
        json.dumps(found, ensure_ascii=False, default=str).encode()
    except (ValueError, RecursionError):
        raise Refused("not-json", "The body is not JSON.", remedy="Send one object, in UTF-8.") from None
    return found


def _no_number(word: str) -> Any:
    raise ValueError(word)


def _faulty(errors: list[dict[str, str]]) -> Faulty:
    return Faulty(
        "not-as-described",
        "; ".join(
            f"{one.get('pointer') or one.get('parameter') or 'body'}: {one['detail']}" for one in errors
        ),
        remedy="/api/v1/openapi.json describes what is sent; an unknown name is refused, too.",
        errors=errors,
    )
