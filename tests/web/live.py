"""A real server on loopback and a real browser, for tests that need both."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, BrowserType
from waitress import wasyncore
from waitress.server import create_server

from tracker.app import create_app
from tracker.settings import Settings
from tracker.storage.engine import Database

# The first is Chromium without windows: it draws the same pages, starts sooner and works less.
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
SWITCHES = ("--no-sandbox",)


@contextmanager
def serving(season: Database) -> Iterator[str]:
    """The season's pages at an address of this machine, served as `tracker serve` serves them."""
    settings = Settings(
        base_url="http://localhost:1", programme="Larkmoor Hay Testing Programme", phone="555-0100"
    )
    app = create_app(season, settings, "a secret for tests")
    server = create_server(app, host="127.0.0.1", port=0, threads=4)
    address = f"http://localhost:{server.effective_port}"
    app.extensions["settings"] = Settings(
        base_url=address, programme=settings.programme, phone=settings.phone
    )
    with running(server):
        yield address


@contextmanager
def running(server: Any) -> Iterator[None]:
    """A waitress server at work in a thread of its own."""
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield
    finally:
        # Ended from outside it would first wait out the second for which it listens.
        server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map))
        thread.join(timeout=5)
        server.task_dispatcher.shutdown()


def program() -> str:
    """The path of this machine's Chromium; FileNotFoundError says what to install."""
    for name in BROWSERS:
        if found := shutil.which(name):
            return found
    raise FileNotFoundError(
        "No Chromium is on the path; install it (apt-get install chromium-headless-shell, or chromium)."
    )


def chromium(kind: BrowserType, *more: str) -> Browser:
    """A headless Chromium of this machine, begun with these further switches."""
    return kind.launch(executable_path=program(), args=[*SWITCHES, *more])
