"""What the log says of a request: no secret of an address, and nothing of a query."""

from __future__ import annotations

import json
import logging
import re
import time

from flask import Flask, Response, g, request

ACCESS = logging.getLogger("tracker.access")
# A code on a bag is no secret; the 26 characters of a stub and what stands behind /link/ are.
_SECRETS = (
    (re.compile(r"(/link/)[^\s/?#'\"]+"), r"\1…"),
    (re.compile(r"(/T/)(?![0-9A-Za-z-]{1,12}(?![^\s?#'\"]))[^\s?#'\"]+", re.IGNORECASE), r"\1…"),
)


def masked(text: str) -> str:
    """The text with the secret parts of our addresses left out."""
    for secret, instead in _SECRETS:
        text = secret.sub(instead, text)
    return text


def on_one_line(text: str) -> str:
    """The text with every control character written out, so that nothing in it can begin a line of its own."""
    return "".join(one if one.isprintable() else f"\\u{ord(one):04x}" for one in text)


class MaskingFormatter(logging.Formatter):
    """Masks whatever is logged, a traceback too; one line a message, its time in UTC (OWASP ASVS 5.0.0, 16.2.2)."""

    converter = time.gmtime  # type: ignore[assignment]
    default_time_format = "%Y-%m-%dT%H:%M:%S"
    default_msec_format = "%s.%03dZ"

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


def log_requests(app: Flask) -> None:
    """One line for each answer: who asked from where, what, and how it went."""

    @app.before_request
    def begun() -> None:
        g.begun = time.monotonic()

    @app.after_request
    def told(response: Response) -> Response:
        took = (time.monotonic() - g.get("begun", time.monotonic())) * 1000
        party = g.get("party")
        ACCESS.info(
            "%s %s %s %s %s %.0f ms",
            request.remote_addr,
            party.key if party else "-",
            request.method,
            masked(request.path),
            response.status_code,
            took,
            extra={
                "told": {
                    "from": request.remote_addr,
                    "by": party.key if party else None,
                    "method": request.method,
                    "page": request.endpoint,
                    "status": response.status_code,
                    "ms": round(took),
                }
            },
        )
        return response
