"""Every door that answers in JSON, tried with whatever its description allows and with what it does not.

A door that is added, such as those of phones and programs, joins DOORS with its own description.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from tests.makers import act, done
from tests.web.conftest import made_app, sign_in_as
from tracker.domain.field_entry import KINDS, MARKER
from tracker.steps.add_balance import add_balance
from tracker.storage.engine import Database

# A line that is no weight is as described and refused; what is not as described is read as far as it can be.
TRIES = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
WORDS = {"type": "string"}
REFUSED = {
    "type": "object",
    "required": ["refused", "words"],
    "additionalProperties": False,
    "properties": {"refused": WORDS, "words": WORDS},
}
READ = {
    "type": "object",
    "required": ["grams", "stable", "storable", "words"],
    "additionalProperties": False,
    "properties": {
        "grams": {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"},
        "stable": {"type": ["boolean", "null"]},
        "storable": {"type": "boolean"},
        "words": WORDS,
    },
}
LINE = {
    "type": "object",
    "required": ["balance", "raw"],
    "properties": {
        "balance": {"enum": ["B1"]},
        "raw": {"anyOf": [WORDS, {"enum": ["ST,GS,+  250.0 g", "S S     18.60 g", "N +  12.3 g", "250.0"]}]},
        "before": {"type": "object", "properties": {"raw": WORDS, "seconds": {"type": ["string", "number"]}}},
    },
}


def answer(schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": "in words", "content": {"application/json": {"schema": schema}}}


MOMENT = {
    "enum": ["2026-06-20T09:10:00.000-05:00", "2026-06-20T14:10:00Z", "0001-01-01T00:00:00+14:00", "soon"]
}
ENTRY = {
    "type": "object",
    "required": ["event_id", "seq", "kind", "payload", "who", "device_time"],
    "additionalProperties": False,
    "properties": {
        "event_id": {"anyOf": [{"type": "string", "format": "uuid"}, WORDS]},
        "seq": {"type": "integer", "minimum": 0, "maximum": 2**31},
        "kind": {"enum": [*KINDS, "whatever"]},
        "payload": {"type": "object"},
        "who": {"enum": ["carl", "tove", "nobody", ""]},
        "device_time": MOMENT,
        "clock_offset_ms": {"type": ["integer", "null"]},
        "source": {"enum": ["phone", "paper"]},
        "paper": {"type": ["object", "null"]},
    },
}
BATCH = {
    "type": "object",
    "required": ["marker", "device", "sent_at", "entries"],
    "properties": {
        "marker": {"const": MARKER},
        "device": {"const": "0190a1b2-0000-7000-8000-000000000001"},
        "device_name": WORDS,
        "sent_at": MOMENT,
        "unsent": {"type": ["integer", "null"]},
        "entries": {"type": "array", "items": ENTRY, "maxItems": 4},
    },
}
ANSWERED = {
    "type": "object",
    "required": ["marker", "server_time", "answers"],
    "properties": {"answers": {"type": "array", "items": {"type": "object", "required": ["event_id"]}}},
}
PROBLEM = {
    "description": "RFC 9457",
    "content": {
        "application/problem+json": {
            "schema": {"type": "object", "required": ["type", "title", "status", "code", "words", "remedy"]}
        }
    },
}
DOORS: dict[str, Any] = {
    "/field/entries": {
        "post": {
            "requestBody": {"required": True, "content": {"application/json": {"schema": BATCH}}},
            "responses": {"200": answer(ANSWERED), "400": PROBLEM, "413": PROBLEM, "422": PROBLEM},
        }
    },
    "/desk/line": {
        "post": {
            "requestBody": {"required": True, "content": {"application/json": {"schema": LINE}}},
            "responses": {"200": answer(READ), "422": answer(REFUSED)},
        }
    },
}
DESCRIBED = {
    "openapi": "3.1.0",
    "info": {"title": "Doors that answer in JSON", "version": "1"},
    "paths": DOORS,
}


class AsCarl:
    """The application as somebody signed in has it, with the description beside it."""

    def __init__(self, season: Database) -> None:
        self.app = made_app(season, base_url="http://localhost")
        cookie = sign_in_as(self.app, "carl").get_cookie("tracker")
        assert cookie is not None
        self.cookie = f"tracker={cookie.value}"

    def __call__(self, environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        if environ["PATH_INFO"] == "/described.json":
            start("200 OK", [("Content-Type", "application/json")])
            return [json.dumps(DESCRIBED).encode()]
        return self.app({**environ, "HTTP_COOKIE": self.cookie}, start)


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_every_json_door_answers_as_it_is_described_and_never_fails(
    season: Database, mode: GenerationMode
) -> None:
    done(
        season,
        lambda s: add_balance(
            s, "B1", act(s, "lena", 0), route="serial", profile="any", check_weight="200.00", limit="0.05"
        ),
    )
    schema = schemathesis.openapi.from_wsgi("/described.json", AsCarl(season))
    tried: Counter[str] = Counter()
    for found in schema.get_all_operations():
        operation = found.ok()

        @TRIES
        @given(case=operation.as_strategy(generation_mode=mode))
        def try_it(case: Any) -> None:
            answered = case.call_and_validate(
                excluded_checks=[negative_data_rejection, positive_data_acceptance]
            )
            tried[f"{case.operation.path} {answered.status_code}"] += 1

        try_it()
    assert {one.split()[0] for one in tried} == set(DOORS)
    # A line that is no weight is refused in words; one that is, is read.
    assert tried["/desk/line 422"] and (mode == GenerationMode.NEGATIVE or tried["/desk/line 200"])
