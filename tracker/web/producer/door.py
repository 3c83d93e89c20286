"""The producer's door: what a token opens, its address, and who is let in how often."""

from __future__ import annotations

import hmac
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from functools import wraps
from hashlib import sha256
from http import HTTPStatus
from typing import Any

from flask import Blueprint, Response, current_app, make_response, render_template, request
from flask.blueprints import BlueprintSetupState
from werkzeug.routing import BaseConverter

from tracker.errors import NotFound, TrackerError
from tracker.lookups.readers import Reader, knocks_too_often, reader_of
from tracker.steps.note_opening import note_opening
from tracker.web.shared.season import now, reading, season

door = Blueprint("producer", __name__, template_folder="templates")
View = Callable[..., Any]


class Token(BaseConverter):
    """A token as it stands in an address; anything shorter or longer is another door's."""

    regex = "[0-9A-Za-z]{26}"


@door.record_once
def _know_tokens(state: BlueprintSetupState) -> None:
    state.app.url_map.converters["token"] = Token


def let_in(what: str) -> Callable[[View], View]:
    """A view for whoever holds a token that opens: view(reader, stub).

    what: how the opening stands in the list. A token that opens nothing gets one answer, whatever became of it,
    and an address that knocks too often is asked to wait, whether its token opens or not.
    """

    def wrap(view: View) -> View:
        @wraps(view)
        def opened(stub: str) -> Response:
            moment, came_from = now(), _came_from(now())
            reader: Reader | None = None
            with reading() as session:
                if knocks_too_often(session, came_from, moment):
                    return _turned_away("too_often.html", HTTPStatus.TOO_MANY_REQUESTS)
                with suppress(NotFound):
                    reader = reader_of(session, stub, moment.astimezone().date())
            if reader is None:
                answer = _turned_away("inactive.html", HTTPStatus.NOT_FOUND)
                return _noted(answer, None, "nothing", came_from)
            kind = "animals" if what == "page" and set(request.args) - {"lot"} else what
            return _noted(make_response(view(reader, stub)), reader.token_hash, kind, came_from)

        return opened

    return wrap


def _turned_away(page: str, status: HTTPStatus) -> Response:
    return make_response(render_template(page), status)


def _came_from(moment: datetime) -> str:
    """The address as it is counted: by a keyed hash that is another every day, so that the list tells nobody's."""
    key = str(current_app.config["SECRET_KEY"]).encode()
    told = f"{moment.astimezone().date()} {request.remote_addr}".encode()
    return hmac.new(key, told, sha256).hexdigest()[:32]


def _noted(answer: Response, token_hash: str | None, what: str, came_from: str) -> Response:
    """The answer; once it is out the opening is noted, so that nobody waits for whoever writes meanwhile."""
    book, moment = season(), now()

    def note() -> None:
        # The page is out; that it could not be noted keeps nothing from anybody.
        with suppress(TrackerError), book.act("opened", "", {}) as session:
            note_opening(session, token_hash, what, came_from, moment)

    answer.call_on_close(note)
    return answer
