"""The desk with balances on it, at a time of the office's clock, and what its pages hold."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from labels.payload import shown
from tests.makers import act, at, done, standing
from tests.web.conftest import sign_in_as
from tracker.domain.custody import Standing
from tracker.lookups.last_entry import last_entry
from tracker.steps.add_balance import add_balance
from tracker.storage.coring import Sample
from tracker.storage.engine import Database

BALANCES = (("B1", "keyboard"), ("T1", "typed"), ("S1", "serial"))


class Desk:
    """Somebody at the desk, and the season behind it."""

    def __init__(self, season: Database, app: Flask, key: str) -> None:
        self.season, self.app, self.key = season, app, key
        self.client: FlaskClient = sign_in_as(app, key)

    def clock(self, minute: float) -> None:
        """Set the office's clock, and sign in anew: a sign-in does not outlast a shift."""
        self.season.clock = lambda: at(minute)
        self.client = sign_in_as(self.app, self.key)

    def code(self, sample: Sample) -> str:
        return self.standing(sample).code or ""

    def scan(self, sample: Sample) -> str:
        """The code as a page sends it after a scan: bare, one in 150 could be another on a foreign keyboard."""
        return shown(self.code(sample))

    def standing(self, sample: Sample) -> Standing:
        return standing(self.season, sample)

    def seen(self, sample: Sample) -> str:
        with self.season.read() as session:
            return str(last_entry(session, sample.id))

    def get(self, address: str, **args: Any) -> str:
        """The page's text, wherever it led."""
        answer = self.client.get(address, query_string=args, follow_redirects=True)
        assert answer.status_code == 200, answer.text
        return text_of(answer)

    def post(self, address: str, **form: Any) -> str:
        """The text of the page that followed, with what was told on it."""
        return text_of(self.posted(address, **form))

    def posted(self, address: str, **form: Any) -> TestResponse:
        answer = self.client.post(address, data=form)
        assert answer.status_code == 303, text_of(answer)
        return self.client.get(answer.location)

    def refused(self, address: str, **form: Any) -> str:
        """The code that the form was refused with, as a page with words and a way back."""
        answer = self.client.post(address, data={"back": "/desk/weigh", **form})
        assert 400 <= answer.status_code < 500, answer.status_code
        page = answer.text
        assert 'href="/desk/weigh"' in page
        found = re.search(r'<p class="small">([a-z-]+)</p>', page)
        assert found is not None
        return found[1]

    def weigh(self, sample: Sample, what: str, grams: str, **more: Any) -> str:
        form = {"balance": "B1", "what": what, "grams": grams, "seen": self.seen(sample), **more}
        return self.post(f"/desk/weigh/{self.code(sample)}", **form)

    def weigh_refused(self, sample: Sample, what: str, grams: str, **more: Any) -> str:
        form = {"balance": "B1", "what": what, "grams": grams, "seen": self.seen(sample), **more}
        return self.refused(f"/desk/weigh/{self.code(sample)}", **form)


def text_of(answer: TestResponse) -> str:
    """The page without its tags, blanks made one."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", answer.text)))


@pytest.fixture
def desk(season: Database, app: Flask) -> Desk:
    """Carl at the desk at 300, with a balance of each kind."""
    for name, route in BALANCES:
        done(
            season,
            lambda session, name=name, route=route: add_balance(
                session,
                name,
                act(session, "lena", 1),
                route=route,
                profile="any",
                check_weight="200",
                limit="0.05",
            ),
        )
    season.clock = lambda: at(300)
    return Desk(season, app, "carl")


@pytest.fixture
def somebody(season: Database, app: Flask) -> Callable[[str], Desk]:
    """Another person at the same desk."""
    return lambda key: Desk(season, app, key)
