"""A season plan that was kept: opened again as it was, and held against what would be planned today."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from typing import Any

from flask import Response, render_template

from tracker.domain.season_kept import changed_inputs, changed_outcome
from tracker.errors import TrackerError
from tracker.lookups.kept_plans import KeptSeason, kept_plan
from tracker.lookups.season_plan import season_asked
from tracker.papers.season_plan import CAUTIONS
from tracker.web.office.door import door
from tracker.web.office.season import piece_by_piece, reckoned
from tracker.web.shared.access import LEAD, for_roles
from tracker.web.shared.season import reading


@door.get("/season/kept/<int:number>")
@for_roles(*LEAD)
def season_kept(number: int) -> str:
    """The plan as it was made, by whom, and what it rests on."""
    with reading() as session:
        kept = kept_plan(session, number)
    return render_template(
        "season_kept.html", kept=kept, paper=b64encode(kept.paper).decode(), cautions=CAUTIONS
    )


@door.get("/season/kept/<int:number>/today")
@for_roles(*LEAD)
def season_today(number: int) -> Response:
    """The same question asked again: what it rests on that is otherwise now, and what comes of that."""
    with reading() as session:
        kept = kept_plan(session, number)
    outcome: dict[str, Any] = {}
    return piece_by_piece("season_today.html", kept=kept, steps=_again(kept, outcome), outcome=outcome)


def _again(kept: KeptSeason, outcome: dict[str, Any]) -> Iterator[tuple[int, int]]:
    try:
        with reading() as session:
            found = season_asked(session, kept.line.producer, kept.question)
        outcome["inputs"] = changed_inputs(kept.rests_on, found.rests_on)
        plan = yield from reckoned(found, kept.question)
        outcome["changed"] = changed_outcome(kept.told, found.told(plan))
    except TrackerError as refused:
        outcome["refused"] = refused
