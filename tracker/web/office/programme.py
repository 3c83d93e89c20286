"""The programme at a glance, and the list behind each of its figures."""

from __future__ import annotations

from flask import render_template, request
from markupsafe import Markup

from tracker.domain.units import whole
from tracker.lookups.programme import Part, behind, programme
from tracker.lookups.programme.samples import AGES
from tracker.lookups.seasons import seasons
from tracker.papers.plot import Bar, bars
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.paging import asked_after, told_after
from tracker.web.shared.season import now, reading


@door.get("/programme", endpoint="programme")
@for_roles(*LEAD)
def at_a_glance() -> str:
    """Every figure of a season."""
    with reading() as session:
        years = seasons(session)
        season = _season(years)
        parts = programme(session, season, now())
    pictures = {part.name: _picture(part) for part in parts}
    return render_template(
        "programme.html",
        parts=parts,
        pictures=pictures,
        ages=[words for _, words in AGES],
        season=season,
        seasons=years,
        now=now(),
    )


@door.get("/programme/<figure>", endpoint="figure")
@for_roles(*LEAD)
def one_figure(figure: str) -> str:
    """What a figure was counted from."""
    with reading() as session:
        season = _season(seasons(session))
        found = behind(session, figure, season, now(), asked_after())
    following = told_after(found.next)
    return render_template("listing.html", listing=found, figure=figure, season=season, following=following)


def _season(years: tuple[int, ...]) -> int:
    asked = request.args.get("season", "")
    return whole(asked, field="season", least=1900) if asked else (years[0] if years else now().year)


def _picture(part: Part) -> Markup:
    rows = [Bar(one.name, one.parts) for one in part.figures if one.parts]
    return Markup(bars(rows, "samples", f"{part.name}, by how long they wait"))
