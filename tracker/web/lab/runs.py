"""Instrument runs: which samples in which order, with check samples and blind duplicates."""

from __future__ import annotations

from typing import Any

from flask import Response, flash, redirect, render_template, request, url_for

from tracker.files.out import MEDIA_TYPE, write_csv
from tracker.lookups import runs as found
from tracker.steps.make_run import make_run
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles, person
from tracker.web.shared.season import acting, reading


@door.get("/runs")
@for_roles(*BENCH)
def runs() -> str:
    """The runs made so far, and what may go into the next."""
    with reading() as session:
        lines, waiting, made = found.sources(session), found.to_scan(session), found.runs(session)
    instruments = [one for one in lines if one.kind == "instrument"]
    return render_template("runs.html", instruments=instruments, waiting=waiting, made=made)


@door.post("/runs")
@for_roles(*BENCH)
def run_made() -> Any:
    """Make a run of the samples ticked."""
    form = request.form
    with acting("make run", {**form, "codes": " ".join(form.getlist("codes"))}) as (session, act):
        run = make_run(
            session,
            form.get("source", ""),
            form.get("check_name", ""),
            form.getlist("codes"),
            act,
            every=form.get("every", "20"),
        )
    flash(f"Run {run.name} is made: {len(run.rows)} cups.", "good")
    return redirect(url_for("lab.run", name=run.name), 303)


@door.get("/runs/<name>")
@for_roles(*BENCH)
def run(name: str) -> str:
    """One run, cup by cup. Which cups are blind duplicates is told to the lead alone."""
    with reading() as session:
        one = found.run_named(session, name)
    return render_template("run.html", run=one, profiles=found.PROFILES, told=person().role == "lead")


@door.get("/runs/<name>.csv")
@for_roles(*BENCH)
def run_file(name: str) -> Response:
    """The run as a file, in the form asked for."""
    with reading() as session:
        one = found.run_named(session, name)
        rows = found.run_table(session, one, request.args.get("profile", found.PROFILES[0]))
    answer = Response(write_csv(rows), content_type=MEDIA_TYPE)
    answer.headers.set("Content-Disposition", "attachment", filename=f"run-{one.name}.csv")
    return answer
