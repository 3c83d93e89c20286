"""A parked row: take it in for its bag with its cells corrected, or set it aside."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.lookups.result_files import ParkedCells, parked_cells
from tracker.steps.answer_parked import set_aside, take_in
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles
from tracker.web.shared.season import acting, reading


@door.get("/parked/<int:number>")
@for_roles(*BENCH)
def parked_one(number: int) -> str:
    """The row, what is wrong with it, and the two answers."""
    with reading() as session:
        row = parked_cells(session, number)
    return render_template("parked.html", row=row)


@door.post("/parked/<int:number>/take-in")
@for_roles(*BENCH)
def parked_taken(number: int) -> Any:
    """Take the row in for the bag with this code."""
    form = request.form
    with acting("take in") as (session, act):
        changed = _corrected(parked_cells(session, number))
        analysis = take_in(
            session, number, form.get("code", ""), act, corrected=changed, reason=form.get("reason", "")
        )
    for finding in analysis.findings:
        flash(finding["words"], "stop" if finding["level"] == "hold" else "caution")
    flash(f"Row {number} is taken in for {form['code']}.", "good")
    return redirect(url_for("lab.files"), 303)


@door.post("/parked/<int:number>/set-aside")
@for_roles(*BENCH)
def parked_aside(number: int) -> Any:
    """Decide that the row is not taken in."""
    with acting("set aside") as (session, act):
        set_aside(session, number, act, reason=request.form.get("reason", ""))
    flash(f"Row {number} is set aside.", "good")
    return redirect(url_for("lab.files"), 303)


def _corrected(row: ParkedCells) -> dict[str, str]:
    """The cells that say something else than the file; of a misshapen row all, since nobody knows which is whose."""
    told = {}
    for place, (header, cell) in enumerate(row.cells):
        text = request.form.get(f"cell-{place}", cell)
        if header != row.sample_header and (row.misshapen or text != cell):
            told[header] = text
    return told
