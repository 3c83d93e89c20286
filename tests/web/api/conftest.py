"""Programs at their door: each with a token of its own, and the rights of the person it acts for."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.makers import act
from tracker.domain.client_scopes import SCOPES
from tracker.steps.make_client import make_client
from tracker.storage.engine import Database

_NUMBERS = count(1)


@dataclass
class Program:
    """A program with its token. get and post return the answer as it came."""

    http: FlaskClient
    token: str
    name: str

    @property
    def headers(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.token}"}

    def get(self, path: str, *, headers: dict[str, str] | None = None, **query: Any) -> TestResponse:
        # A file is read to its end, and so closed.
        return self.http.get(
            f"/api/v1{path}",
            query_string=query,
            headers={**self.headers, **(headers or {})},
            buffered=True,
        )

    def post(self, path: str, body: Any = None, *, key: str | None = None) -> TestResponse:
        """An act with a key of its own, unless one is given."""
        headers = {**self.headers, "Idempotency-Key": f'"{key or f"key-{next(_NUMBERS)}"}"'}
        return self.http.post(
            f"/api/v1{path}", data=json.dumps(body or {}), content_type="application/json", headers=headers
        )


ProgramAs = Callable[..., Program]


def make_program(app: Flask, who: str, scopes: tuple[str, ...] = tuple(SCOPES)) -> Program:
    season: Database = app.extensions["season"]
    name = f"program {next(_NUMBERS)}"
    with season.act("make a program", "lena", {}) as session:
        _, token = make_client(session, name, who, scopes, act(session, "lena", 0))
    return Program(app.test_client(), token, name)


@pytest.fixture
def program_as(app: Flask) -> ProgramAs:
    """program_as("carl", "read") acts for Carl and may ask; every scope unless some are named."""

    def made(who: str, *scopes: str) -> Program:
        return make_program(app, who, scopes or tuple(SCOPES))

    return made
