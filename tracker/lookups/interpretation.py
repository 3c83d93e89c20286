"""The report's interpretation: what the results mean for usual animals and for the producer's own groups.

It is no measurement. It stands in a part of its own (ISO/IEC 17025:2017, 7.8.7) with what it rests on, and counts
only once the person who releases the report has released it too.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.animals import BULL, COW, HEIFER, Animals, animals_at
from tracker.domain.herd import animals_on
from tracker.domain.plain_advice import plain
from tracker.errors import TrackerError
from tracker.lookups.feeding_answer import answer_from
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.groups import groups_of
from tracker.settings import program_version
from tracker.storage.kept import practice_in_force

# The animals that a county has most of, at the stages where their needs part; our choice. lb of full weight.
USUAL: tuple[tuple[str, str, Decimal], ...] = (
    (COW, "early-milk", Decimal(1200)),
    (COW, "mid-pregnancy", Decimal(1200)),
    (COW, "near-calving", Decimal(1200)),
    (HEIFER, "early-milk", Decimal(1000)),
    (BULL, "", Decimal(1800)),
)
# The report names the nearest feeds; the page reckons with all.
MOST_SUPPLEMENTS = 6


def interpretation(
    session: Session, body: Mapping[str, Any], producer: str, on: date | None
) -> dict[str, Any]:
    """What the body's results mean: an answer for each kind of animals, and the basis that they share.

    Not released yet: the step that issues the report puts in by whom. `why_none` says why there is no answer.
    """
    feeds, practice = feeds_in_force(session), practice_in_force(session)
    answers: list[dict[str, Any]] = []
    basis: list[str] = []
    why_none = ""
    for name, animals in _whom(session, producer, on):
        try:
            found = answer_from(body, animals, feeds, practice).as_dict()
        except TrackerError as refused:
            why_none = f"{refused.message} {refused.remedy}"
            break
        basis = basis or [*found["basis"], f"Worked out by version {program_version()} of this program."]
        answers.append(_kept(name, found))
    return {"answers": answers, "basis": basis, "why_none": why_none, "released_by": None}


def _whom(session: Session, producer: str, on: date | None) -> list[tuple[str, Animals]]:
    usual = [("", animals_at(kind, stage, weight)) for kind, stage, weight in USUAL]
    if on is None:
        return usual
    own = [(one.group.name, animals_on(one.group, on)) for one in groups_of(session, producer)]
    return [*own, *usual]


def _kept(name: str, answer: dict[str, Any]) -> dict[str, Any]:
    """The answer with what a reader needs to follow it; the cautions stand with the results, the basis once."""
    left_out = ("basis", "cautions")
    kept = {key: value for key, value in answer.items() if key not in left_out}
    # What the producer's page says in plain words stands here too, so that the two never differ.
    words = plain(answer)
    said = {"sentence": words.sentence, "add": " ".join(words.add), "sure": " ".join(words.sure)}
    few = answer["supplements"][:MOST_SUPPLEMENTS]
    return {"group": name, "said": said, **kept, "supplements": few, "changed": False}
