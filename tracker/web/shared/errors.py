"""A refusal as a page: what is wrong, what to do, and the way back."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from flask import Flask, render_template, request, url_for
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from tracker.errors import Conflict, NotFound, Refused, TrackerError
from tracker.web.shared.access import signed_in
from tracker.web.shared.back import own

_STATUS = {
    NotFound: HTTPStatus.NOT_FOUND,
    Conflict: HTTPStatus.CONFLICT,
    Refused: HTTPStatus.UNPROCESSABLE_ENTITY,
}
_BY_CODE = {
    "not-allowed": HTTPStatus.FORBIDDEN,
    "sign-in-needed": HTTPStatus.UNAUTHORIZED,
    "too-many-tries": HTTPStatus.TOO_MANY_REQUESTS,
}


def answer_errors(app: Flask) -> None:
    """Turn every refusal, and every error of the web itself, into a page with words."""
    app.register_error_handler(TrackerError, _refused)
    app.register_error_handler(CSRFError, _forged)
    app.register_error_handler(HTTPException, _http)


def _refused(refused: TrackerError) -> tuple[str, int]:
    status = _BY_CODE.get(refused.code, _STATUS.get(type(refused), HTTPStatus.UNPROCESSABLE_ENTITY))
    return _page(refused, status), status


def _forged(error: CSRFError) -> tuple[str, int]:
    refused = Refused(
        "form-too-old",
        "This form was opened too long ago, or by another sign-in.",
        remedy="Open the page again and enter it once more; nothing was recorded.",
    )
    return _page(refused, HTTPStatus.BAD_REQUEST), HTTPStatus.BAD_REQUEST


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
    if code >= HTTPStatus.INTERNAL_SERVER_ERROR:
        # Whether it failed before or after the act was kept is not known here.
        remedy = "Look whether it is recorded before entering it again. `tracker doctor` says what is wrong."
    refused = TrackerError(f"web-{code}", words.get(code, error.name), remedy=remedy)
    allowed = getattr(error, "valid_methods", None)
    return _page(refused, code), code, {"Allow": ", ".join(allowed)} if allowed else {}


def _page(refused: TrackerError, status: int) -> str:
    back = own(_back(), url_for("office.first_page"))
    return render_template("refused.html", refused=refused, status=status, back=back, party=signed_in())


def _back() -> str | None:
    try:
        return request.form.get("back")
    except HTTPException:
        # What was sent is too large to be read, for its way back too.
        return None
