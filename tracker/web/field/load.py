"""A phone's file of unsent entries, carried to the office: the same ids, the same answers, no doubles."""

from __future__ import annotations

from flask import render_template, request

from tracker.errors import Refused
from tracker.files.field_entries import read_batch
from tracker.steps.entry_answers import answers_in
from tracker.steps.take_entries import FILE, take_entries
from tracker.web.field.door import door
from tracker.web.shared.access import for_roles, person
from tracker.web.shared.season import now, season

MOST_BYTES = 20 * 1024 * 1024


@door.get("/field/load")
@for_roles("clerk", "lead")
def load() -> str:
    """Where the file is chosen."""
    return render_template("field_load.html", answers=None, counts={})


@door.post("/field/load")
@for_roles("clerk", "lead")
def loaded() -> str:
    """Take the file's entries as if the phone had sent them, and say what became of each."""
    file = request.files.get("file")
    if file is None or not file.filename:
        raise Refused(
            "no-file", "No file was chosen.", field="file", remedy="Choose the file that the phone wrote."
        )
    batch = read_batch(file.read(MOST_BYTES))
    with season().act("load a phone's file", person().key, {"file": file.filename}) as session:
        answers = take_entries(session, batch, person(), now(), via=FILE)
    kinds = [getattr(entry, "kind", "unreadable") for entry in batch.entries]
    return render_template(
        "field_load.html",
        answers=list(zip(kinds, answers, strict=True)),
        counts=answers_in(answers),
        called=batch.called or batch.device[:8],
    )
