"""A sample's analyses side by side, and which of them stands."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for

from tracker.domain.units import whole
from tracker.lookups.analyses import analyses_of
from tracker.lookups.find import sample_ever_named
from tracker.lookups.last_entry import last_entry
from tracker.lookups.sample_way import way_of
from tracker.steps.choose_analysis import choose_analysis
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles
from tracker.web.shared.moved import not_moved
from tracker.web.shared.season import acting, reading


@door.get("/analyses/<code>")
@for_roles(*BENCH)
def analyses(code: str) -> str:
    """Every analysis as its source gave it, the one that stands first, and who chose it and why."""
    with reading() as session:
        sample = sample_ever_named(session, code)
        found, way, seen = (
            analyses_of(session, sample.id),
            way_of(session, sample),
            last_entry(session, sample.id),
        )
    chosen = [step for step in way.steps if step.kind == "analysis chosen"]
    constituents = list(dict.fromkeys(value.constituent for one in found for value in one.values))
    table = [(name, [_value(one, name) for one in found]) for name in constituents]
    return render_template(
        "analyses.html", code=code, way=way, analyses=found, table=table, chosen=chosen, seen=seen
    )


@door.post("/analyses/<code>")
@for_roles(*BENCH)
def analysis_chosen(code: str) -> Any:
    """Say which one stands, and why."""
    form = request.form
    with acting("choose analysis") as (session, act):
        sample = sample_ever_named(session, code)
        not_moved(session, sample.id, form.get("seen"))
        number = whole(form.get("analysis", ""), field="analysis")
        choose_analysis(session, sample, number, act, reason=form.get("reason", ""))
    flash(f"Analysis {number} stands.", "good")
    return redirect(url_for("lab.analyses", code=code), 303)


def _value(one: Any, constituent: str) -> Any:
    return next((value for value in one.values if value.constituent == constituent), None)
