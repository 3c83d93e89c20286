"""Control charts of check samples, and the freezing of their limits."""

from __future__ import annotations

from typing import Any

from flask import flash, redirect, render_template, request, url_for
from markupsafe import Markup

from tracker.domain.check_samples import LEAST_RUNS
from tracker.domain.units import whole
from tracker.lookups import check_charts
from tracker.papers.check_chart import chart as drawn
from tracker.steps.freeze_limits import freeze_limits
from tracker.web.lab.door import door
from tracker.web.shared.access import BENCH, for_roles
from tracker.web.shared.season import acting, reading

# A chart of more readings than this cannot be read; the table under it has them all.
DRAWN = 60


@door.get("/charts")
@for_roles(*BENCH)
def charts() -> str:
    """One chart for each constituent of each check sample."""
    with reading() as session:
        found = check_charts.charts(session)
    pictures = [(one, _picture(one)) for one in found]
    return render_template("charts.html", charts=pictures, least=LEAST_RUNS)


@door.post("/charts")
@for_roles(*BENCH)
def limits_frozen() -> Any:
    """Freeze the limits from the readings so far, or their next version, with a reason."""
    form = request.form
    left_out = {whole(text, field="left_out") for text in form.getlist("left_out")}
    with acting("freeze limits") as (session, act):
        row = freeze_limits(
            session,
            form.get("source", ""),
            form.get("check_name", ""),
            form.get("constituent", ""),
            act,
            reason=form.get("reason", ""),
            left_out=left_out,
        )
    flash(f"Limits {row.version} of {row.constituent} are frozen from {row.n} readings.", "good")
    return redirect(url_for("lab.charts"), 303)


def _picture(one: check_charts.Chart) -> Markup:
    limits = one.limits[0] if one.limits else None
    last = min(DRAWN, len(one.readings))
    title = f"{one.constituent} of {one.check_name} on {one.source}, the last {last} readings"
    values = [reading.value for reading in one.readings[-DRAWN:]]
    picture = drawn(title, values, limits.mean if limits else None, limits.sigma if limits else None)
    return Markup(picture)
