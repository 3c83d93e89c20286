"""The doors on a season of the test's own, and people who are signed in at them without paying for a password."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from playwright.sync_api import Browser, sync_playwright
from sqlalchemy import select

from tests.makers import BASE
from tests.web.live import chromium
from tracker.app import create_app
from tracker.settings import Settings
from tracker.steps.sign_in import begin, make_account
from tracker.storage.access import Account
from tracker.storage.engine import Database
from tracker.web.shared.guard import COOKIE, SAFE_COOKIE

SETTINGS = Settings(base_url=BASE, programme="Larkmoor Hay Testing Programme", phone="555-0142")
SECRET = "a key that only tests sign forms with"
ClientAs = Callable[..., FlaskClient]


def made_app(season: Database, *, base_url: str = BASE, strict: bool = False) -> Flask:
    """The application; strict asks each form for its guard, as in use."""
    made = create_app(season, Settings(**{**vars(SETTINGS), "base_url": base_url}), SECRET)
    made.config.update(TESTING=True, WTF_CSRF_ENABLED=strict)
    return made


def sign_in_as(app: Flask, key: str) -> FlaskClient:
    """A client with the sign-in's real cookie, begun by the step that a right password leads to."""
    season: Database = app.extensions["season"]
    with season.act("sign in", key, {}) as session:
        found = select(Account).where(Account.party_key == key)
        if session.scalar(found) is None:
            make_account(session, key, key, season.clock())
        token = begin(session, session.scalars(found).one(), season.clock())
    client = app.test_client()
    secure = bool(app.config["SESSION_COOKIE_SECURE"])
    client.set_cookie(SAFE_COOKIE if secure else COOKIE, token, secure=secure)
    return client


@pytest.fixture
def app(season: Database) -> Flask:
    """The doors, with forms that need no guard."""
    return made_app(season)


@pytest.fixture
def app_strict(season: Database) -> Flask:
    """The doors as they are in use."""
    return made_app(season, strict=True)


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """Nobody, at the doors."""
    return app.test_client()


@pytest.fixture
def client_as(app: Flask) -> ClientAs:
    """client_as("carl") is Carl at the doors; tove is a technician, ana an analyst, lena the lead."""

    def made(key: str, at: Any = None) -> FlaskClient:
        return sign_in_as(at or app, key)

    return made


@pytest.fixture(scope="session")
def begun_browser() -> Iterator[Browser]:
    """The run's one browser: each test opens a context of its own in it, which shares nothing with another."""
    with sync_playwright() as playwright:
        found = chromium(playwright.chromium)
        yield found
        found.close()


@pytest.fixture(scope="module")
def browser(begun_browser: Browser) -> Iterator[Browser]:
    """The same, with nothing left open in it by the tests of this file."""
    yield begun_browser
    for context in begun_browser.contexts:
        context.close()
