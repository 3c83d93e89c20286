"""A refusal for a program: RFC 9457, with a JSON Pointer (RFC 6901) to each field at fault."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from flask import Response, request

from tracker.errors import TrackerError

MEDIA_TYPE = "application/problem+json"
# Every address for programs begins like this; what is asked there is answered like this too, even where nothing is.
PREFIX = "/api/"


class Faulty(TrackerError):
    """What was sent is not as described; `errors` says where, each with a pointer or the name of a parameter."""

    def __init__(self, code: str, message: str, *, remedy: str, errors: Sequence[Mapping[str, str]]) -> None:
        super().__init__(code, message, remedy=remedy)
        self.errors = tuple(errors)


def for_program() -> bool:
    """Whether it is a program that asks."""
    return request.path.startswith(PREFIX)


def problem_body(refused: TrackerError, status: int, instance: str) -> dict[str, Any]:
    """The refusal as plain values. title says what the status says, for `type` is about:blank (RFC 9457, 4.2.1)."""
    errors = list(getattr(refused, "errors", ()))
    if not errors and refused.field:
        errors = [{"pointer": pointer(refused.field), "detail": refused.message}]
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": int(status),
        "detail": refused.message,
        "instance": instance,
        "code": refused.code,
        "remedy": refused.remedy,
    }
    if errors:
        body["errors"] = errors
    if refused.line is not None:
        body["line"] = refused.line
    return body


def answered(body: Mapping[str, Any]) -> Response:
    """The problem as it is sent."""
    answer = Response(json.dumps(body, ensure_ascii=False), int(body["status"]), content_type=MEDIA_TYPE)
    if answer.status_code == HTTPStatus.UNAUTHORIZED:
        answer.headers["WWW-Authenticate"] = 'Bearer realm="hay samples"'
    return answer


def pointer(*parts: object) -> str:
    """The JSON Pointer that these names and places make."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def faults(messages: Any, *place: object) -> Iterator[dict[str, str]]:
    """Each complaint of a schema with its pointer."""
    if isinstance(messages, Mapping):
        for name, inner in messages.items():
            yield from faults(inner, *place, *(() if name == "_schema" else (name,)))
    else:
        for words in messages if isinstance(messages, (list, tuple)) else (messages,):
            yield {"pointer": pointer(*place), "detail": str(words)}
