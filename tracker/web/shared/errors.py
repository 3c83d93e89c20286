"""A refusal as a page: what is wrong, what to do, and the way back."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, current_app, render_template, request, url_for
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from tracker.domain.field_entry import MARKER
from tracker.errors import Conflict, NotFound, Refused, TrackerError, Unavailable
from tracker.files.disk import disk_full, is_full
from tracker.web.shared.access import signed_in
from tracker.web.shared.back import own
from tracker.web.shared.problems import answered, for_program, problem_body

_STATUS = {
    NotFound: HTTPStatus.NOT_FOUND,
    Conflict: HTTPStatus.CONFLICT,
    Refused: HTTPStatus.UNPROCESSABLE_ENTITY,
    Unavailable: HTTPStatus.SERVICE_UNAVAILABLE,
}
# When a program may try again by itself; a server that was restarted is back by then.
RETRY_SECONDS = 30
_BY_CODE = {
    "not-allowed": HTTPStatus.FORBIDDEN,
    "not-from-here": HTTPStatus.FORBIDDEN,
    "sign-in-needed": HTTPStatus.UNAUTHORIZED,
    "too-many-tries": HTTPStatus.TOO_MANY_REQUESTS,
    "token-needed": HTTPStatus.UNAUTHORIZED,
    "not-in-scope": HTTPStatus.FORBIDDEN,
    "key-missing": HTTPStatus.BAD_REQUEST,
    "not-json": HTTPStatus.BAD_REQUEST,
    "not-sent-as-json": HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    # draft-ietf-httpapi-idempotency-key-header-07, section 2.7.
    "key-used": HTTPStatus.UNPROCESSABLE_ENTITY,
    "not-as-described": HTTPStatus.UNPROCESSABLE_ENTITY,
}


def answer_errors(app: Flask) -> None:
    """Turn every refusal, and every error of the web itself, into a page with words."""
    app.register_error_handler(TrackerError, _refused)
    app.register_error_handler(CSRFError, _forged)
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(OSError, _no_room)


def problem(refused: TrackerError, status: int) -> Any:
    """A refusal for a script: RFC 9457 with our own marker, so that it is not taken for somebody else's answer."""
    body = {
        "marker": MARKER,
        "type": "about:blank",
        "title": refused.message,
        "status": int(status),
        "code": refused.code,
        "words": refused.message,
        "field": refused.field,
        "remedy": refused.remedy,
    }
    return Response(json.dumps(body), int(status), content_type="application/problem+json")


def _for_script() -> bool:
    view = current_app.view_functions.get(str(request.endpoint))
    return bool(getattr(view, "as_json", False))


def status_of(refused: TrackerError) -> HTTPStatus:
    """The HTTP status that a refusal is answered with."""
    return _BY_CODE.get(refused.code, _STATUS.get(type(refused), HTTPStatus.UNPROCESSABLE_ENTITY))


def _refused(refused: TrackerError) -> Any:
    return _said(refused, status_of(refused))


def _said(refused: TrackerError, status: int) -> Any:
    answer = current_app.make_response(_answer(refused, status))
    if isinstance(refused, Unavailable):
        answer.headers["Retry-After"] = str(RETRY_SECONDS)
    return answer


def _answer(refused: TrackerError, status: int) -> Any:
    if for_program():
        return answered(problem_body(refused, status, request.path))
    if _for_script():
        return problem(refused, status)
    return _page(refused, status), status


def _no_room(fault: OSError) -> Any:
    """A large file lies on the server's disk while it is taken in or sent."""
    if not is_full(fault):
        raise fault
    return _refused(disk_full("The server's disk is full."))


def _forged(error: CSRFError) -> Any:
    refused = Refused(
        "form-too-old",
        "This form was opened too long ago, or by another sign-in.",
        remedy="Open the page again and enter it once more; nothing was recorded.",
    )
    return _said(refused, HTTPStatus.BAD_REQUEST)


def _http(error: HTTPException) -> Any:
    if error.response is not None:
        return error
    code = error.code or 500
    words = {
        404: "There is no such page.",
        405: "This page takes no such request.",
        413: "The file is too large.",
        500: "The program failed here, or its season cannot be read.",
    }
    remedy = "Go back, or begin at the first page."
    if code == HTTPStatus.REQUEST_ENTITY_TOO_LARGE:
        most = current_app.config["MAX_CONTENT_LENGTH"] // 1_048_576
        remedy = f"The most is {most} MB. Divide the file, or export fewer rows; nothing of it was taken in."
    if code >= HTTPStatus.INTERNAL_SERVER_ERROR:
        # Whether it failed before or after the act was kept is not known here.
        remedy = "Look whether it is recorded before entering it again. `tracker doctor` says what is wrong."
    refused = TrackerError(f"web-{code}", words.get(code, error.name), remedy=remedy)
    allowed = getattr(error, "valid_methods", None)
    if for_program():
        answer = answered(problem_body(refused, code, request.path))
        if allowed:
            answer.headers["Allow"] = ", ".join(allowed)
        return answer
    if _for_script():
        return problem(refused, code)
    return _page(refused, code), code, {"Allow": ", ".join(allowed)} if allowed else {}


def _page(refused: TrackerError, status: int) -> str:
    back = own(_back(), url_for("office.first_page"))
    return render_template("refused.html", refused=refused, status=status, back=back, party=signed_in())


def _back() -> str | None:
    try:
        return request.form.get("back")
    except (HTTPException, OSError):
        # What was sent is too large to be read, for its way back too.
        return None
