"""The season behind a request: one session for a question, one for an act, and the only commit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Any, cast

from flask import current_app, request

from tracker.domain.custody import Act
from tracker.web.shared.access import person

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.orm import Session

    from tracker.settings import Settings
    from tracker.storage.engine import Database
    from tracker.storage.questions import Asking

# Never kept with a refusal: it is a secret, or it is ours.
_NOT_KEPT = ("csrf_token", "password", "again")


def season() -> Database:
    """The database of this application."""
    return cast("Database", current_app.extensions["season"])


def settings() -> Settings:
    """What this installation was told."""
    return cast("Settings", current_app.extensions["settings"])


def now() -> datetime:
    """The office's clock."""
    return season().clock()


def reading() -> AbstractContextManager[Session]:
    """A session for a question."""
    return season().read()


def asking() -> AbstractContextManager[Asking]:
    """What the few questions of nearly every page are put to, without a session."""
    return season().ask()


@contextmanager
def acting(name: str, given: Mapping[str, Any] | None = None) -> Iterator[tuple[Session, Act]]:
    """A session for one act by whoever is signed in: kept whole, or not at all and the refusal with the form."""
    by = person()
    moment = now()
    kept = given if given is not None else {k: v for k, v in request.form.items() if k not in _NOT_KEPT}
    with season().act(name, by.key, kept) as session:
        yield session, Act(by, moment.astimezone(), moment, device="bench", note=request.form.get("note", ""))
