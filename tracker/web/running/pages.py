"""For whoever keeps the server running: is it alive, can it work, and what does it do. Nothing here names anybody."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from http import HTTPStatus
from typing import cast

from flask import Blueprint, Response, current_app, request
from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from sqlalchemy.exc import SQLAlchemyError

from tracker.errors import Refused, TrackerError
from tracker.lookups.load import load
from tracker.web.shared.access import EVERYONE, for_roles
from tracker.web.shared.season import reading, season

door = Blueprint("running", __name__)
# From a page of the cache to a report that is written anew, seconds.
TIMES = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30)


@door.get("/health")
@for_roles(*EVERYONE)
def health() -> Response:
    """The program answers; it says nothing of the database, so that a watcher does not restart it in vain."""
    return _text("ok", HTTPStatus.OK)


@door.get("/ready")
@for_roles(*EVERYONE)
def ready() -> Response:
    """The season can be asked and is of this program's version; else 503, and a proxy asks another server."""
    try:
        season().check_version()
    except (TrackerError, SQLAlchemyError):
        # What is wrong stands in the log and in `tracker doctor`; a stranger learns nothing of it.
        current_app.logger.exception("not ready")
        return _text("not ready", HTTPStatus.SERVICE_UNAVAILABLE)
    return _text("ready", HTTPStatus.OK)


@door.get("/metrics")
@for_roles(*EVERYONE)
def metrics() -> Response:
    """Counts and times in the text form that collectors read; only for this computer.

    Raises Refused `not-from-here`.
    """
    if not _from_here(str(request.remote_addr)):
        raise Refused(
            "not-from-here",
            "The server's figures are for this computer alone.",
            remedy="Let a collector on the same computer read them.",
        )
    return Response(generate_latest(_figures().registry), content_type=CONTENT_TYPE_LATEST)


class Figures:
    """What this process counts; the season's own figures are read when they are asked for."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.answers = Counter(
            "tracker_answers", "Answers by page and status.", ("page", "status"), registry=self.registry
        )
        self.seconds = Histogram(
            "tracker_answer_seconds",
            "How long an answer took.",
            ("page",),
            buckets=TIMES,
            registry=self.registry,
        )
        self.registry.register(_OfTheSeason())
        self._of: dict[tuple[str, int], tuple[Counter, Histogram]] = {}

    def count(self, page: str, status: int, seconds: float) -> None:
        """One answer of a page."""
        found = self._of.get((page, status))
        if found is None:
            found = self.answers.labels(page, str(status)), self.seconds.labels(page)
            self._of[page, status] = found
        answers, times = found
        answers.inc()
        times.observe(seconds)


class _OfTheSeason:
    """Read at each collection, so that every server of a programme says the same of it."""

    def describe(self) -> tuple[()]:
        return ()

    def collect(self) -> Iterator[GaugeMetricFamily]:
        with reading() as session:
            found = load(session)
        waiting = GaugeMetricFamily(
            "tracker_samples_waiting", "Samples by what they wait for.", labels=("act",)
        )
        for act, count in found.waiting.items():
            waiting.add_metric((act,), count)
        yield waiting
        yield GaugeMetricFamily("tracker_log_entries", "Entries of the log.", value=found.entries)
        yield GaugeMetricFamily("tracker_refusals", "Refusals kept.", value=found.refusals)


def _figures() -> Figures:
    return cast("Figures", current_app.extensions["figures"])


def _from_here(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _text(words: str, status: int) -> Response:
    return Response(words + "\n", int(status), content_type="text/plain; charset=utf-8")
