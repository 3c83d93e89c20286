"""Release: a last look at what the report will say, one button that says the deed, and the report as issued."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

from flask import Response, flash, redirect, render_template, request, url_for

from tracker.lookups.find import sample_named
from tracker.lookups.issued_reports import latest_version, report_numbered
from tracker.lookups.last_entry import last_entry
from tracker.lookups.lot_report import report_body
from tracker.lookups.sample_way import way_of
from tracker.papers.lot_report import lot_report
from tracker.steps.release_results import release_results
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, STAFF, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.season import acting, now, reading, settings


@door.get("/release/<code>")
@for_roles(*BENCH)
def release(code: str) -> str:
    """What the report would say as things stand."""
    with reading() as session:
        sample = sample_named(session, code)
        body, before = (
            report_body(session, sample, settings(), on=_today()),
            latest_version(session, sample.id),
        )
        holds = way_of(session, sample).holds
        seen = last_entry(session, sample.id)
    version = before.version + 1 if before else 1
    return render_template(
        "release.html", code=code, body=body, before=before, version=version, holds=holds, seen=seen
    )


@door.post("/release/<code>")
@for_roles(*BENCH)
def released(code: str) -> Any:
    """Issue the report."""
    form = request.form
    with acting("release") as (session, act):
        sample = sample_named(session, code)
        not_moved(session, sample.id, form.get("seen"))
        body = report_body(session, sample, settings(), on=_today())
        row = release_results(
            session,
            sample,
            body,
            act,
            reason=form.get("reason", ""),
            interpretation=bool(form.get("interpretation")),
        )
    flash(f"Report {row.number} is issued.", "good")
    return redirect(url_for("lab.files"), 303)


def _today() -> date:
    return now().astimezone().date()


@door.get("/reports/<number>.pdf")
@for_roles(*STAFF)
def report(number: str) -> Response:
    """The report as it was issued."""
    with reading() as session:
        issued = report_numbered(session, number)
    file = io.BytesIO()
    lot_report(file, issued.body, issued.proof)
    answer = Response(file.getvalue(), content_type="application/pdf")
    answer.headers.set("Content-Disposition", "inline", filename=f"{issued.number}.pdf")
    return answer
