"""The whole programme at a glance: each figure with what it counts, and behind each the list it was counted from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from tracker.domain.practice import Practice
from tracker.errors import NotFound
from tracker.lookups.page import USUAL, Key
from tracker.lookups.programme import bags, care, field, samples, weights
from tracker.lookups.programme.figure import Asked, Figure, Listing, Scope
from tracker.storage.kept import practice_in_force


@dataclass(frozen=True)
class Part:
    """One part of the page: a heading and the figures under it."""

    name: str
    figures: tuple[Figure, ...]


Figures = Callable[[Session, Scope], tuple[Figure, ...]]
PARTS: dict[str, Figures] = {
    "Where the samples are": samples.stations,
    "Late and lost": samples.late_and_lost,
    "How long it takes": samples.turnaround,
    "Bags and labels": bags.labels,
    "How well the lots were sampled": bags.sampling,
    "Weighing": weights.reweighed,
    "Phones": field.phones_owe,
    "What was refused": care.refusals,
}
Rows = Callable[[Session, Scope, Asked], Listing]
LISTS: dict[str, Rows] = {
    "station": samples.at_station,
    "late": samples.late,
    "lost": samples.lost,
    "turnaround": samples.reported,
    "labels": bags.label_errors,
    "sampling": bags.deviating,
    "reweighed": weights.pairs,
    "phones": field.owing,
    "contested": field.contested,
    "refused": care.refused,
}


def programme(
    session: Session, season: int, now: datetime, practice: Practice | None = None
) -> tuple[Part, ...]:
    """Every figure of the season's lots as things stand; refusals are those of the year."""
    scope = Scope(season, now, practice or practice_in_force(session))
    return tuple(Part(name, figures(session, scope)) for name, figures in PARTS.items())


def behind(
    session: Session, key: str, season: int, now: datetime, after: Key = (), limit: int = USUAL
) -> Listing:
    """A page of the list a figure was counted from. Raises NotFound `unknown-figure`, Refused `not-a-cursor`."""
    name, _, which = key.partition(":")
    if name not in LISTS:
        raise NotFound(
            "unknown-figure",
            f"There is no figure {key[:40]!r}.",
            field="figure",
            remedy="Go back to the programme's page and open a figure from there.",
        )
    asked = Asked(which, after, limit)
    return LISTS[name](session, Scope(season, now, practice_in_force(session)), asked)


__all__ = ["Figure", "Listing", "Part", "behind", "programme"]
