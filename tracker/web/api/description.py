"""The description that programs are written by: OpenAPI 3.1, made from the entries and their schemas."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from marshmallow import Schema, fields

from tracker.domain.client_scopes import SCOPES
from tracker.web.api.asking import Paged
from tracker.web.api.entry import ENTRIES, JSON, Entry
from tracker.web.api.fields import Digits, Moment, Seconds
from tracker.web.shared.problems import MEDIA_TYPE

VERSION = "1"
REFUSALS = {
    400: "not JSON, or an act without its Idempotency-Key",
    401: "no token that opens anything",
    403: "not in the token's scopes, or not for the role of the person it acts for",
    404: "what was named is not known here",
    409: "the record has moved on, or somebody was first",
    413: "larger than is taken",
    415: "not sent as what this address takes",
    422: "not as described here, or it cannot be true",
    429: "too many wrong tokens from one address",
    500: "the program failed here",
    503: "the season cannot be asked or written just now; nothing was recorded, and Retry-After says when to try",
}
_FOR_ACTS = (400, 413, 415)


class Fault(Schema):
    """One thing at fault: a place in the body, or the name of a parameter."""

    pointer = fields.String(metadata={"description": "JSON Pointer (RFC 6901) into the body"})
    parameter = fields.String(metadata={"description": "a parameter of the query"})
    detail = fields.String(required=True)


class Problem(Schema):
    """A refusal, RFC 9457. code is explained under its heading in docs/refusals.md; remedy says what to do."""

    type = fields.String(required=True)
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    instance = fields.String(required=True)
    code = fields.String(required=True)
    remedy = fields.String(required=True)
    errors = fields.List(fields.Nested(Fault))
    line = fields.Integer()


@cache
def description() -> dict[str, Any]:
    """The whole of it, as plain values."""
    plugin = MarshmallowPlugin(schema_name_resolver=lambda schema: _name_of(schema))
    spec = APISpec(
        title="Hay samples",
        version=VERSION,
        openapi_version="3.1.0",
        info={"description": "Hay samples from the stack to the feeding decision; see docs/api.md."},
        plugins=[plugin],
        servers=[{"url": "/api/v1"}],
    )
    for kind, shape in (
        (Digits, {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}),
        (Moment, {"type": "string", "format": "date-time"}),
        (Seconds, {"type": "integer"}),
    ):
        assert plugin.converter is not None
        plugin.converter.add_attribute_function(_shown_as(kind, shape))
    spec.components.security_scheme("token", {"type": "http", "scheme": "bearer", "description": _scopes()})
    spec.components.schema("Problem", schema=Problem)
    for status, words in REFUSALS.items():
        content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
        spec.components.response(f"refused{status}", {"description": words, "content": content})
    for entry in ENTRIES:
        spec.path(_path(entry.path), operations={entry.method.lower(): _operation(entry)})
    made: dict[str, Any] = spec.to_dict()
    return made


def _name_of(schema: Any) -> str:
    kind = schema if isinstance(schema, type) else type(schema)
    return str(kind.__name__)


def _shown_as(kind: type[fields.Field[Any]], shape: dict[str, Any]) -> Any:
    def shown(converter: Any, field: Any, **more: Any) -> dict[str, Any]:
        if not isinstance(field, kind):
            return {}
        return {**shape, "type": [shape["type"], "null"]} if field.allow_none else dict(shape)

    return shown


def _scopes() -> str:
    return "Scopes: " + "; ".join(f"{name}: {words}" for name, words in SCOPES.items()) + "."


def _path(path: str) -> str:
    return re.sub(r"<(?:int:)?(\w+)>", r"{\1}", path)


def _operation(entry: Entry) -> dict[str, Any]:
    made: dict[str, Any] = {
        "operationId": entry.name.replace("-", "_"),
        "summary": entry.words,
        "description": f"Scope {entry.scope}; for {', '.join(entry.roles)}.",
        "security": [{"token": [entry.scope]}],
        "parameters": [*_places(entry), *_asked(entry)],
        "responses": _responses(entry),
    }
    if entry.takes:
        made["requestBody"] = {"required": True, "content": {one: {"schema": {}} for one in entry.takes}}
    elif entry.given is not None:
        made["requestBody"] = {"required": True, "content": {JSON: {"schema": entry.given}}}
    return made


def _places(entry: Entry) -> list[dict[str, Any]]:
    found = []
    for kind, name in re.findall(r"<(int:)?(\w+)>", entry.path):
        shape = {"type": "integer", "minimum": 0} if kind else {"type": "string", "minLength": 1}
        words = {"sample": "the tag's code, or `lot 12`", "code": "the tag's code"}.get(name, "")
        found.append({"in": "path", "name": name, "required": True, "schema": shape, "description": words})
    return found


def _asked(entry: Entry) -> list[dict[str, Any]]:
    if entry.acts:
        if entry.tries:
            return []
        words = "a fresh UUID for every new act, and the same one when it is sent again"
        shape = {"type": "string", "pattern": "^[!#-\\[\\]-~]{1,100}$"}
        return [
            {
                "in": "header",
                "name": "Idempotency-Key",
                "required": True,
                "schema": shape,
                "description": words,
            }
        ]
    schema = entry.asked or (Paged if entry.paged else None)
    return [{"in": "query", "schema": schema}] if schema else []


def _responses(entry: Entry) -> dict[str, Any]:
    made: dict[str, Any] = {
        str(entry.status): {"description": "done" if entry.acts else "found", **_content(entry)}
    }
    if not entry.acts and not entry.sent:
        made["304"] = {"description": "as the program has it already (If-None-Match)"}
    for status in REFUSALS:
        if status not in _FOR_ACTS or entry.acts:
            made[str(status)] = f"refused{status}"
    return made


def _content(entry: Entry) -> dict[str, Any]:
    if entry.answer is None:
        return {"content": {one: {"schema": {}} for one in entry.media.split(", ")}}
    if not entry.paged:
        return {"content": {JSON: {"schema": entry.answer}}}
    page = {
        "type": "object",
        "required": ["items", "next"],
        "properties": {
            "items": {"type": "array", "items": entry.answer},
            "next": {"type": ["string", "null"], "description": "send it as `after` for the next page"},
        },
    }
    schema = page if entry.head is None else {"allOf": [entry.head, page]}
    return {"content": {JSON: {"schema": schema}}}
