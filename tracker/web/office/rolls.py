"""Rolls of tags: what became of every tag, who carries which, what is given out, brought back and spoilt."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from flask import Response, flash, redirect, render_template, request, url_for

from tracker.domain.units import whole
from tracker.errors import Refused
from tracker.lookups.lots import parties
from tracker.lookups.tag_rolls import carried_by_day, latest_rolls, party_keyed, strays
from tracker.papers.field_sheet import SpareTag, field_sheet
from tracker.steps.issue_tags import count_in, issue_tags
from tracker.steps.print_field_sheet import print_field_sheet
from tracker.steps.print_tags import PrintedTag, void_run
from tracker.web.office.door import door
from tracker.web.shared.access import LAB, for_roles
from tracker.web.shared.season import acting, reading, settings


@door.get("/tags/rolls")
@for_roles(*LAB)
def rolls_page() -> str:
    """The latest rolls with their tags accounted for, and what can be done with them."""
    before = request.args.get("before")
    with reading() as session:
        found = latest_rolls(session, None if before is None else whole(before, field="before", least=1))
        carried, lost = carried_by_day(session), strays(session)
        people = [one for one in parties(session) if one.kind == "person"]
    return render_template(
        "rolls.html", rolls=found.items, older=found.next, carried=carried, strays=lost, people=people
    )


@door.post("/tags/issue")
@for_roles(*LAB)
def tags_issued() -> Any:
    """Give a stretch of a roll to a person."""
    run, first, last = (_number(name) for name in ("run", "first", "last"))
    with acting("issue tags") as (session, act):
        to = party_keyed(session, request.form.get("to", ""))
        given = issue_tags(session, run, first, last, to, act)
    return _done(f"{to.name} carries {len(given)} more.")


@door.post("/tags/count-in")
@for_roles(*LAB)
def tags_counted_in() -> Any:
    """Take unused tags back."""
    codes = request.form.get("codes", "").replace(",", " ").split()
    if not codes:
        raise Refused(
            "code-missing",
            "No tag was named.",
            field="codes",
            remedy="Scan or type the tags that were brought back.",
        )
    with acting("count in") as (session, act):
        back = count_in(session, codes, act)
    return _done(f"{len(back)} back in the office.")


@door.post("/tags/void-run")
@for_roles(*LAB)
def run_voided() -> Any:
    """Make void what a print run spoilt, all at once."""
    run, first = _number("run"), _number("first")
    with acting("void run") as (session, act):
        spoilt = void_run(session, run, act, reason=request.form.get("reason", ""), first=first)
    return _done(f"{len(spoilt)} tags of run {run} are void. Cut them up.")


@door.post("/tags/field-sheet")
@for_roles(*LAB)
def sheet_printed() -> Response:
    """The sheet of paper for the tags that a person carries."""
    file = BytesIO()
    with acting("field sheet") as (session, act):
        to = party_keyed(session, request.form.get("to", ""))
        form, tags = print_field_sheet(session, act, to=to)
        spare = [SpareTag(tag.code, PrintedTag(tag, "").number) for tag in tags]
        paper = request.form.get("paper", "a4")
        field_sheet(file, form, spare, base_url=settings().base_url, carrier=to.name, paper=paper)
    headers = {"Content-Disposition": f'inline; filename="field-sheet-{form}.pdf"'}
    return Response(file.getvalue(), mimetype="application/pdf", headers=headers)


def _number(name: str) -> int:
    return whole(request.form.get(name, ""), field=name, least=1)


def _done(words: str) -> Any:
    flash(words, "good")
    return redirect(url_for("office.rolls_page"), 303)
