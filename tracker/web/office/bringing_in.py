"""Lists from a spreadsheet: look at what each line would do, then take them in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.errors import Conflict
from tracker.files import fields_file, lots_file, producers_file
from tracker.steps.bring_in import bring_in, try_in
from tracker.steps.keep_upload import forget_upload, keep_upload, kept_upload
from tracker.steps.register_lots import LineAnswer
from tracker.web.office.door import door
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.season import acting, reading
from tracker.web.shared.uploads import uploaded

COLUMNS = {
    "producers": (producers_file.NEEDED, producers_file.OPTIONAL),
    "fields": (fields_file.NEEDED, fields_file.OPTIONAL),
    "lots": (lots_file.NEEDED, lots_file.OPTIONAL),
}


@door.get("/bring-in")
@for_roles(*LAB)
def lists() -> str:
    """Which lists are taken in, and what columns they have."""
    return render_template("bring_in.html", columns=COLUMNS)


@door.post("/bring-in")
@for_roles(*LAB)
def list_tried() -> str:
    """What would become of each line. Nothing of it is kept in the season."""
    kind, sheet = request.form.get("list", ""), request.form.get("sheet", "").strip()
    name, content = uploaded()
    with acting("try a list", {"list": kind, "file": name, "sheet": sheet}) as (session, act):
        answers = try_in(session, kind, name, content, act, sheet=sheet or None)
        digest = keep_upload(session, content, act.now)
    return render_template(
        "list_tried.html",
        answers=answers,
        counts=_counts(answers),
        digest=digest,
        name=name,
        kind=kind,
        sheet=sheet,
    )


@door.post("/bring-in/take")
@for_roles(*LAB)
def list_taken() -> Any:
    """Take in the list that was looked at, if it still does what was shown."""
    form = request.form
    with reading() as asking:
        content = kept_upload(asking, form.get("sha256", ""))
    with acting("take in a list") as (session, act):
        answers = bring_in(
            session, form.get("list", ""), form.get("name", ""), content, act, sheet=form.get("sheet") or None
        )
        new, known, refused = counts = _counts(answers)
        if form.get("shown", "") != " ".join(map(str, counts)):
            raise Conflict(
                "not-as-shown",
                "The list would not come in any more as it was shown.",
                field="file",
                remedy="Choose the file again and look at what it does now; nothing was taken in.",
            )
        forget_upload(session, form.get("sha256", ""))
    flash(f"{new} taken in, {known} known before, {refused} refused and kept.", "good")
    return redirect(url_for("office.lists"), 303)


def _counts(answers: Sequence[LineAnswer]) -> tuple[int, int, int]:
    known = sum(one.known for one in answers)
    refused = sum(one.complaint is not None and not one.known for one in answers)
    return len(answers) - known - refused, known, refused
