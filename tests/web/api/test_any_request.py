"""Every address for programs, tried with whatever its own description allows and with what it does not."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

import pytest
import schemathesis
from flask import Flask
from hypothesis import HealthCheck, Phase, given, settings
from openapi_spec_validator import validate
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import ignored_auth, positive_data_acceptance, unsupported_method

from tests.makers import act, done, made, make_ground, make_plan, make_received, make_tag
from tests.web.api.conftest import make_program
from tests.web.conftest import made_app
from tracker.steps.add_balance import add_balance
from tracker.storage.engine import Database
from tracker.web.api.description import description
from tracker.web.api.entry import ENTRIES

# A sound request about a sample that is not there is refused, as it should be. Three tries of each of so many
# addresses find what is described wrongly; more of them take minutes and found nothing more.
TRIES = settings(
    max_examples=3,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
PLACES = {
    "sample": ["lot 1", "lot 2", "lot 3", "lot 99"],
    "lot": [1, 2, 3, 99],
    "balance": ["B1", "B9"],
    "load": ["L-1", "L-9"],
    "code": ["HHHHHHHH"],
    "row": [1],
    "run": [1, 9],
    "entry": [1, 14, 99],
    "feed": ["corn"],
    "number": ["R-1-v1"],
    "figure": ["lost", "late", "refused", "nothing"],
    "table": ["lots", "events", "nothing"],
    "producer": [1, 9],
    "link": [1, 9],
    "plan": [1, 9],
    "bundle": [1],
    "sha256": ["0" * 64],
    "name": ["2026-06-20-1"],
    "rule": ["oven_hours", "nothing"],
    "kind": ["lots", "producers", "cows"],
}


def furnish(season: Database) -> None:
    """A sample that is planned, one that was received, one that is ground; tags and a balance."""
    for cutting, maker in enumerate((make_plan, make_received, make_ground), start=1):
        made(season, maker, cutting=str(cutting))
    done(season, lambda s: make_tag(s, 1))
    done(
        season,
        lambda s: add_balance(
            s, "B1", act(s, "lena", 1), route="serial", profile="any", check_weight="200.0", limit="0.2"
        ),
    )


class Told:
    """The description as a program finds it, with the few names that are there put into its addresses."""

    def __init__(self, app: Flask) -> None:
        found: dict[str, Any] = json.loads(json.dumps(description()))
        for operations in found["paths"].values():
            for operation in operations.values():
                for parameter in operation["parameters"]:
                    if parameter["in"] == "path":
                        known = PLACES[parameter["name"]]
                        parameter["schema"] = {"anyOf": [{"enum": known}, parameter["schema"]]}
        self.schema = schemathesis.openapi.from_dict(found)
        self.schema.app = app


@pytest.fixture
def furnished(season: Database) -> Flask:
    furnish(season)
    return made_app(season, strict=True)


def test_the_description_is_openapi_31() -> None:
    """Source of the check: the meta-schema of the OpenAPI Initiative, in openapi-spec-validator."""
    told = description()
    validate(told)
    assert told["openapi"].startswith("3.1")


def test_it_describes_each_entry_once_and_nothing_else() -> None:
    told = {
        (method.upper(), path) for path, operations in description()["paths"].items() for method in operations
    }
    assert len(told) == len(ENTRIES)
    names = [entry.name for entry in ENTRIES]
    assert len(set(names)) == len(names)


# A server closes what it has sent; what plays one here does not, and a season's file stays open for a moment.
@pytest.mark.filterwarnings("ignore:.*SpooledTemporaryFile:pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_no_request_is_answered_otherwise_than_described(furnished: Flask, mode: GenerationMode) -> None:
    told = Told(furnished).schema
    program = make_program(furnished, "lena")
    counted: Counter[int] = Counter()
    for found in told.get_all_operations():
        operation = found.ok()

        @TRIES
        @given(case=operation.as_strategy(generation_mode=mode))
        def tried(case: Any) -> None:
            answer = case.call_and_validate(
                headers=program.headers,
                # What is as described may still not be true, and is refused for that. Wrong tokens are counted,
                # and soon nobody here would be told anything; test_tokens.py tries them.
                excluded_checks=[positive_data_acceptance, unsupported_method, ignored_auth],
            )
            counted[answer.status_code] += 1

        tried()
    assert sum(counted.values()) > 2 * len(ENTRIES), counted
    assert not [status for status in counted if status >= 500]
    if mode is GenerationMode.POSITIVE:
        assert counted[200] > 20 and counted[422] > 10, counted
