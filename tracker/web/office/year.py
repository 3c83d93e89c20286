"""The hay of the year, beside the years before."""

from __future__ import annotations

from flask import render_template, request
from markupsafe import Markup

from tracker.domain.units import to_places, whole
from tracker.lookups.hay_of_year import ALL, GROUPINGS, QUALITIES, Group, Quality, hay_of_year
from tracker.lookups.seasons import seasons
from tracker.papers.plot import Box, boxes
from tracker.web.office.door import door
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.season import now, reading


@door.get("/year")
@for_roles(*LEAD)
def year() -> str:
    """How good the hay of a season was."""
    by = request.args.get("by", "forage")
    by = by if by in GROUPINGS else "forage"
    asked = request.args.get("season", "")
    with reading() as session:
        years = seasons(session)
        season = whole(asked, field="season", least=1900) if asked else (years[0] if years else now().year)
        found = hay_of_year(session, season, by)
    parts = [(one, found.groups[one.key], _picture(one, found.groups[one.key], season)) for one in QUALITIES]
    return render_template(
        "year.html", year=found, parts=parts, seasons=years, groupings=tuple(GROUPINGS), said=_said
    )


def _picture(quality: Quality, groups: tuple[Group, ...], season: int) -> Markup:
    rows = [
        Box(
            f"{_label(one)}, {one.season}",
            one.spread.lower,
            one.spread.median,
            one.spread.upper,
            one.spread.tenth,
            one.spread.ninetieth,
            one.season == season,
        )
        for one in groups
        if one.spread is not None
    ]
    title = f"{quality.name} of each group: median, quartiles, 10th and 90th centile"
    return Markup(boxes(rows, f"{quality.name}, {quality.unit}", title))


def _label(group: Group) -> str:
    name = "All hay" if group.name == ALL else group.name.capitalize()
    return f"{name} ({group.formula})" if group.formula else name


def _said(value: object, decimals: int) -> str:
    return "–" if value is None else format(to_places(value, decimals), "f")  # type: ignore[arg-type]
