"""An invented season, played through the same steps as a real one, at the times it happened.

Everything comes from fixtures/season; what each file holds and what goes wrong where is told in its README. The
season's own clock stands in for the office's, so that the log reads as it would have been written.
"""

from __future__ import annotations

from pathlib import Path

from tracker.demo import bench, feeding, field, producers
from tracker.demo.papers import write_papers
from tracker.demo.season import Progress, Season, fixtures_folder, prepared


def play(out: Path, progress: Progress) -> Season:
    """Play the whole season into the folder and write its papers there.

    Raises NotFound `fixtures-missing`, Refused `folder-not-empty`.
    """
    season = acted(out, progress)
    write_papers(season, progress)
    feeding.write_answers(season, progress)
    feeding.write_season(season, progress)
    producers.write_stubs(season, progress)
    return season


def acted(out: Path, progress: Progress) -> Season:
    """The season played into the folder, without its papers. Raises as play does."""
    season = Season(prepared(out), fixtures_folder())
    season.database.migrate()
    field.add_people(season)
    moments = sorted(
        (*field.moments(season), *bench.moments(season), *feeding.moments(season)), key=lambda one: one.at
    )
    for done, one in enumerate(moments, start=1):
        season.act(one)
        progress("Acts", done, len(moments))
    return season
