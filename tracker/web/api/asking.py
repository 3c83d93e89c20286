"""Questions: what the address and the query hold, a page of the answer, and 304 where nothing has changed."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence
from typing import Any

from flask import Response, request
from marshmallow import ValidationError

from tracker.errors import NotFound, Refused
from tracker.web.api.door import let_in
from tracker.web.api.entry import JSON, Entry
from tracker.web.api.fields import LARGEST, LONGEST, Strict, text, whole
from tracker.web.shared.problems import Faulty, faults
from tracker.web.shared.season import reading

USUAL, MOST = 50, 500


class Page(Strict):
    """Which page of a list."""

    after = text("`next` of the page before; else from the beginning", needed=False, most=LONGEST)
    limit = whole(f"so many at most, {USUAL} unless said", needed=False, least=1, most=MOST)


def ask(entry: Entry, place: dict[str, Any]) -> Response:
    """Answer the question."""
    let_in(entry)
    checked_place(place)
    wanted = query_of(entry)
    page: dict[str, Any] = {
        name: wanted.pop(name) for name in ("after", "limit") if entry.key and name in wanted
    }
    with reading() as session:
        found = entry.do(session, **place, **wanted)
        if entry.answer is None:
            return told(found, entry.media)
        shape = entry.answer()
        body = _page(found, entry, page) if entry.key else shape.dump(found)
    answer = told(json.dumps(body, ensure_ascii=False).encode(), JSON)
    if entry.key and body["next"]:
        answer.headers["Link"] = f'<{request.path}?after={body["next"]}>; rel="next"'
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
    schema = (entry.asked or (Page if entry.key else Strict))()
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


def _page(found: Sequence[Any], entry: Entry, page: dict[str, Any]) -> dict[str, Any]:
    assert entry.key is not None and entry.answer is not None
    known = sorted(found, key=entry.key)
    if "after" in page:
        last = _read_cursor(page["after"], like=entry.key(known[0]) if known else None)
        known = [one for one in known if entry.key(one) > last] if known else []
    most = page.get("limit", USUAL)
    shown, more = known[:most], len(known) > most
    return {
        "items": entry.answer(many=True).dump(shown),
        "next": _cursor(entry.key(shown[-1])) if more else None,
    }


def _cursor(last: Any) -> str:
    return urlsafe_b64encode(json.dumps(last).encode()).decode().rstrip("=")


def _read_cursor(words: str, *, like: Any) -> Any:
    try:
        found = json.loads(urlsafe_b64decode(words + "=" * (-len(words) % 4)))
    except ValueError:
        found = None
    found = tuple(found) if isinstance(found, list) else found
    # A cursor of another list would not be in order with this one.
    if (_kinds(found) != _kinds(like) and like is not None) or found is None:
        raise Refused(
            "not-a-cursor",
            "`after` is not the `next` of a page of this list.",
            field="after",
            remedy="Begin without it, and take it from the page before.",
        )
    return found


def _kinds(key: Any) -> Any:
    return [type(part) for part in key] if isinstance(key, tuple) else type(key)
