"""Result files: look at what a file would do, then take it in; and what waits for a decision or for release."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from flask import (
    Response,
    flash,
    get_flashed_messages,
    redirect,
    render_template,
    request,
    stream_template,
    url_for,
)

from tracker.domain.units import whole
from tracker.domain.way import DECISION
from tracker.errors import Conflict, TrackerError
from tracker.lookups.bench_queue import waiting
from tracker.lookups.kept_refusals import parked_rows
from tracker.lookups.result_files import result_files
from tracker.lookups.runs import sources
from tracker.steps.keep_upload import forget_upload, keep_upload, kept_upload
from tracker.steps.preview_results import preview_results
from tracker.steps.record_results import Taken, record_results, recording
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles
from tracker.web.shared.season import acting, reading
from tracker.web.shared.uploads import uploaded

# From so many rows on, the page shows how far the import is.
LONG = 200


@door.get("/results")
@for_roles(*BENCH)
def files() -> str:
    """What came in, what is parked, and what waits for release."""
    with reading() as session:
        taken, parked, known, queue = (
            result_files(session),
            parked_rows(session),
            sources(session),
            waiting(session, ("release", DECISION)),
        )
    release = [one for one in queue if one.waits_for == "release"]
    held = [one for one in queue if one.hold and one.state == "scanned"]
    return render_template(
        "files.html", files=taken, parked=parked, sources=known, release=release, held=held
    )


@door.post("/results")
@for_roles(*BENCH)
def file_tried() -> str:
    """What would become of each line of the file. Nothing of it is kept in the season."""
    source, sheet = request.form.get("source", ""), request.form.get("sheet", "").strip()
    name, content = uploaded()
    with acting("try results", {"source": source, "file": name, "sheet": sheet}) as (session, act):
        preview = preview_results(session, source, name, content, act, sheet=sheet or None)
        digest = keep_upload(session, content, act.now)
    return render_template(
        "preview.html", preview=preview, digest=digest, name=name, source=source, sheet=sheet
    )


@door.post("/results/take-in")
@for_roles(*BENCH)
def file_taken() -> Any:
    """Take in the file that was looked at, if it still does what was shown."""
    with reading() as asking:
        content = kept_upload(asking, request.form.get("sha256", ""))
    if whole(request.form.get("rows", "0"), field="rows") >= LONG:
        # Said already, so that the page that is sent piece by piece need not write the cookie.
        get_flashed_messages(with_categories=True)
        outcome: dict[str, Any] = {}
        return Response(
            stream_template("taking_in.html", steps=_stepwise(content, outcome), outcome=outcome),
            content_type="text/html; charset=utf-8",
            headers={"X-Accel-Buffering": "no"},
        )
    with acting("import results") as (session, act):
        taken = record_results(session, *_asked(content), act, sheet=request.form.get("sheet") or None)
        _require_as_shown(taken)
        forget_upload(session, taken.sha256)
    for words in taken.remarks:
        flash(words, "caution")
    flash(said(taken), "stop" if taken.held else "good")
    return redirect(url_for("lab.files"), 303)


def _stepwise(content: bytes, outcome: dict[str, Any]) -> Iterator[tuple[int, int]]:
    """Rows done and rows in all while the file comes in; outcome gets the words, or the refusal, at the end."""
    try:
        with acting("import results") as (session, act):
            sheet = request.form.get("sheet") or None
            taken = yield from recording(session, *_asked(content), act, sheet=sheet)
            _require_as_shown(taken)
            forget_upload(session, taken.sha256)
    except TrackerError as refused:
        outcome["refused"] = refused
        return
    outcome.update(words=said(taken), remarks=taken.remarks, held=taken.held)


def _asked(content: bytes) -> tuple[str, str, bytes]:
    return request.form.get("source", ""), request.form.get("name", ""), content


def _require_as_shown(taken: Taken) -> None:
    """The button said so many rows in and so many parked; anything else is a season that has moved on."""
    shown = request.form.get("shown", "")
    if shown != f"{taken.taken} {taken.parked} {taken.checks} {taken.held}":
        raise Conflict(
            "not-as-shown",
            "The file would not come in any more as it was shown.",
            field="file",
            remedy="Choose the file again and look at what it does now; nothing was taken in.",
        )


def said(taken: Taken) -> str:
    """What became of the file, in a sentence."""
    if taken.known:
        return "This file was taken in before; nothing changed."
    parts = [f"{_counted(taken.taken, 'row')} taken in", f"{taken.parked} parked"]
    if taken.checks:
        parts.append(f"{_counted(taken.checks, 'row')} of a check sample")
    if taken.held:
        parts.append(f"check sample out of control: {_counted(taken.held, 'sample')} on hold")
    return ", ".join(parts) + "."


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
