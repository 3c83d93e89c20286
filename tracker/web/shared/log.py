"""What the log says of a request: no secret of an address, and nothing of a query."""

from __future__ import annotations

import json
import logging
import re
import time
from collections.abc import Callable
from datetime import UTC, datetime

from flask import Flask, Response, g
from flask.globals import request_ctx

from tracker.web.shared.access import signed_in

ACCESS = logging.getLogger("tracker.access")
# A code on a bag is no secret; the 26 characters of a stub and what stands behind /link/ are.
_SECRETS = (
    re.compile(r"(/link/)[^\s/?#'\"]+"),
    re.compile(r"(/[Tt]/)(?![0-9A-Za-z-]{1,12}(?![^\s?#'\"]))[^\s?#'\"]+"),
)


def masked(text: str) -> str:
    """The text with the secret parts of our addresses left out."""
    for secret in _SECRETS:
        text = secret.sub(_hidden, text)
    return text


def _hidden(found: re.Match[str]) -> str:
    return f"{found[1]}…"


def on_one_line(text: str) -> str:
    """The text with every control character written out, so that nothing in it can begin a line of its own."""
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() else f"\\u{ord(one):04x}" for one in text)


class MaskingFormatter(logging.Formatter):
    """Masks whatever is logged, a traceback too; one line a message, its time in UTC (OWASP ASVS 5.0.0, 16.2.2)."""

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        return moment.replace("+00:00", "Z")

    def format(self, record: logging.LogRecord) -> str:
        return masked(super().format(record))

    def formatMessage(self, record: logging.LogRecord) -> str:
        record.message = on_one_line(record.message)
        return super().formatMessage(record)


class JsonFormatter(MaskingFormatter):
    """The same as one JSON object a line, for programs that gather logs."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, object] = {
            "at": self.formatTime(record),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **getattr(record, "told", {}),
        }
        if record.exc_info:
            told["fault"] = self.formatException(record.exc_info)
        return masked(json.dumps(told, ensure_ascii=False))


def note_answers(app: Flask, count: Callable[[str, int, float], None]) -> None:
    """One line for each answer: who asked from where, what, and how it went.

    count: is told the page, the status and the seconds of each.
    """

    @app.before_request
    def begun() -> None:
        g.begun = time.monotonic()

    @app.after_request
    def told(response: Response) -> Response:
        # The request itself: each look through Flask's stand-in for it takes as long as a look into the season.
        asked = request_ctx.request
        now = time.monotonic()
        seconds = now - g.get("begun", now)
        address, page, party = asked.remote_addr, asked.endpoint, signed_in()
        by, status = party.key if party else None, response.status_code
        ACCESS.info(
            "%s %s %s %s %s %.0f ms",
            address,
            by or "-",
            asked.method,
            masked(asked.path),
            status,
            seconds * 1000,
            extra={
                "told": {
                    "from": address,
                    "by": by,
                    "method": asked.method,
                    "page": page,
                    "status": status,
                    "ms": round(seconds * 1000),
                }
            },
        )
        # The page's name, never its address: an address may hold a secret.
        count(page or "unknown", status, seconds)
        return response
