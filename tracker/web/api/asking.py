"""Questions: what the address and the query hold, a page of the answer, and 304 where nothing has changed."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from typing import Any
from urllib.parse import urlencode

from flask import Response, request
from marshmallow import ValidationError

from tracker.errors import NotFound
from tracker.lookups.page import USUAL, Key, Page, not_a_cursor
from tracker.web.api.door import let_in
from tracker.web.api.entry import JSON, Entry
from tracker.web.api.fields import LARGEST, LONGEST, Strict, text, whole
from tracker.web.shared.problems import Faulty, faults
from tracker.web.shared.season import reading

MOST = 500


class Paged(Strict):
    """Which page of a list."""

    after = text("`next` of the page before; else from the beginning", needed=False, most=LONGEST)
    limit = whole(f"so many at most, {USUAL} unless said", needed=False, least=1, most=MOST)


def ask(entry: Entry, place: dict[str, Any]) -> Response:
    """Answer the question."""
    let_in(entry)
    checked_place(place)
    wanted = query_of(entry)
    if "after" in wanted:
        wanted["after"] = _read_cursor(entry, wanted["after"])
    if entry.sent:
        sent: Response = entry.do(**place, **wanted)
        return sent
    with reading() as session:
        found = entry.do(session, **place, **wanted)
        if entry.answer is None:
            return told(*(found if isinstance(found, tuple) else (found, entry.media)))
        body = _page(entry, found) if entry.paged else entry.answer().dump(found)
    answer = told(json.dumps(body, ensure_ascii=False).encode(), JSON)
    if entry.paged and body["next"]:
        answer.headers["Link"] = f'<{request.path}?{urlencode(_again(body["next"]))}>; rel="next"'
    return answer


def told(content: bytes, media: str) -> Response:
    """The answer with its ETag; without its body where the program has it already (RFC 9110, 13.1.2)."""
    answer = Response(content, content_type=media)
    answer.add_etag()
    # Kept by nobody in between, and asked for again each time.
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.make_conditional(request)
    return answer


def checked_place(place: dict[str, Any]) -> None:
    """Nothing, if what the address holds can be looked up at all; else NotFound `nothing-there`."""
    for name, value in place.items():
        odd = value > LARGEST if isinstance(value, int) else not value.isprintable()
        if odd:
            raise NotFound(
                "nothing-there",
                f"There is no such {name}.",
                remedy="Check the address; docs/api.md says how each is made up.",
            )


def query_of(entry: Entry) -> dict[str, Any]:
    """What stands behind the question mark. Raises Faulty `not-as-described`."""
    schema = (entry.asked or (Paged if entry.paged else Strict))()
    given: dict[str, Any] = {name: values[-1] for name, values in request.args.lists() if len(values) == 1}
    doubled = [name for name, values in request.args.lists() if len(values) > 1]
    for name in doubled:
        raise _faulty([{"parameter": name, "detail": "It is there more than once."}])
    for name, field in schema.fields.items():
        # Whole numbers come as text here, and only here.
        if name in given and type(field).__name__ == "Integer" and given[name].lstrip("-").isdecimal():
            given[name] = int(given[name][:12])
    try:
        read: dict[str, Any] = schema.load(given)
        return read
    except ValidationError as wrong:
        found = [
            {"parameter": one["pointer"].lstrip("/"), "detail": one["detail"]}
            for one in faults(wrong.messages)
        ]
        raise _faulty(found) from None


def _faulty(errors: list[dict[str, str]]) -> Faulty:
    return Faulty(
        "not-as-described",
        "; ".join(f"{one['parameter']}: {one['detail']}" for one in errors),
        remedy="/api/v1/openapi.json describes what may stand behind the question mark.",
        errors=errors,
    )


def _page(entry: Entry, found: Page[Any]) -> dict[str, Any]:
    assert entry.answer is not None
    head = {} if entry.head is None else entry.head().dump(found)
    return {
        **head,
        "items": entry.answer(many=True).dump(found.items),
        "next": None if found.next is None else _cursor(entry, found.next),
    }


def _again(following: str) -> dict[str, str]:
    """What stands behind the question mark for the next page: the same and where to go on."""
    return {**request.args.to_dict(), "after": following}


def _cursor(entry: Entry, last: Key) -> str:
    """Text that means nothing to anybody; the list's name is in it, for another list is in another order."""
    return urlsafe_b64encode(json.dumps([entry.name, *last]).encode()).decode().rstrip("=")


def _read_cursor(entry: Entry, words: str) -> Key:
    """The key that the lookup gave. Raises Refused `not-a-cursor`."""
    try:
        name, *key = json.loads(urlsafe_b64decode(words + "=" * (-len(words) % 4)))
    except (ValueError, TypeError):
        raise not_a_cursor() from None
    if name != entry.name or not key or not all(type(part) in (int, str) for part in key):
        raise not_a_cursor()
    return tuple(key)
