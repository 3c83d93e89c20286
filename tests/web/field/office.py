"""The network between a phone and the office, as a test wants it."""

from __future__ import annotations

import io
import json
import random
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import select, text
from waitress.server import create_server

from tests.web.conftest import SECRET
from tests.web.live import running
from tracker.app import create_app
from tracker.settings import Settings
from tracker.storage.engine import Database
from tracker.storage.field import FieldEntry

Answer = Iterable[bytes]


class Between:
    """Stands before the doors. Each switch is one thing that really happens between a field and an office."""

    def __init__(self, app: Any, season: Database) -> None:
        self.app, self.season = app, season
        self.portal = False
        self.cut = False
        self.drop = 0.0
        self.chance = random.Random(4)
        self.answers: Callable[[dict[str, Any], dict[str, Any]], dict[str, Any]] | None = None
        self.delay = threading.Event()
        self.delay.set()
        self.posts: list[dict[str, Any]] = []
        self.dropped = 0
        self.asked: list[tuple[str, str]] = []

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Answer:
        path = environ["PATH_INFO"]
        self.asked.append((environ["REQUEST_METHOD"], path))
        if self.portal:
            start("200 OK", [("Content-Type", "text/html"), ("Content-Length", "25")])
            return [b"<p>Welcome to the hotel.</"]
        if self.cut:
            return self._lost(start)
        if path != "/field/entries":
            return self.app(environ, start)  # type: ignore[no-any-return]
        return self._entries(environ, start)

    def _entries(self, environ: dict[str, Any], start: Callable[..., Any]) -> Answer:
        self.delay.wait(20)
        caught: list[Any] = []
        raw = environ["wsgi.input"].read()
        environ["wsgi.input"] = io.BytesIO(raw)
        body = b"".join(self.app(environ, lambda *given: caught.append(given)))
        self.posts.append(json.loads(raw))
        if self.chance.random() < self.drop:
            # The office has taken it; the answer never arrives.
            self.dropped += 1
            return self._lost(start)
        status, headers = caught[0][:2]
        if self.answers is not None and status.startswith("200"):
            body = json.dumps(self.answers(json.loads(raw), json.loads(body))).encode()
            headers = [(name, value) for name, value in headers if name.lower() != "content-length"]
            headers.append(("Content-Length", str(len(body))))
        start(status, headers)
        return [body]

    def kept(self) -> list[dict[str, Any]]:
        """The entries that the office has, in the order in which it got them."""
        with self.season.read() as session:
            rows = session.scalars(select(FieldEntry).order_by(text("rowid")))
            return [
                {"event_id": row.event_id, "seq": row.number, "kind": row.kind, **row.body} for row in rows
            ]

    def _lost(self, start: Callable[..., Any]) -> Answer:
        # Fewer bytes than promised: the server closes the line in the middle of the answer.
        start("200 OK", [("Content-Type", "application/json"), ("Content-Length", "9999")])
        return [b"{"]


@contextmanager
def field_office(season: Database, host: str = "localhost") -> Iterator[tuple[str, Between]]:
    """The doors at an address of this machine, and the network before them."""
    settings = Settings(
        base_url="http://localhost:1", programme="Larkmoor Hay Testing Programme", phone="555-0142"
    )
    app = create_app(season, settings, SECRET, secure=False)
    between = Between(app, season)
    server = create_server(between, host="127.0.0.1", port=0, threads=6)
    address = f"http://{host}:{server.effective_port}"
    app.extensions["settings"] = Settings(**{**vars(settings), "base_url": address})
    with running(server):
        yield address, between
