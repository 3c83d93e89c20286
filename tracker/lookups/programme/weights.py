"""The sacks weighed dry a second time, blind, and how well the two weights agreed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.quantiles import quantile
from tracker.domain.units import to_places
from tracker.lookups.programme.figure import Figure, Listing, Scope, listing
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.intake import Weighing, weighings_in_force_of
from tracker.storage.lots import Lot


@dataclass(frozen=True)
class _Pair:
    code: str | None
    lot: int
    first: Decimal
    second: Decimal
    hay: Decimal | None
    balance: str
    at: datetime

    @property
    def difference(self) -> Decimal:
        """Grams, the second less the first."""
        return self.second - self.first

    @property
    def percent(self) -> Decimal | None:
        """Of the hay as it came, as the rule of constant mass is reckoned; None where it was not weighed."""
        return None if not self.hay else 100 * abs(self.difference) / self.hay


def reweighed(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many were weighed twice, how far apart the two were, and how many too far."""
    found = _pairs(session, scope)
    apart = sorted(abs(one.difference) for one in found)
    limit = scope.practice.number("constant_mass")
    far = sum(one.percent is not None and one.percent > limit for one in found)
    middle = to_places(quantile(apart, Decimal("0.5")), 2) if apart else None
    return (
        Figure("reweighed", "weighed dry twice", len(found), "sacks"),
        Figure("reweighed", "apart, median", middle, "g"),
        Figure("reweighed", "apart, greatest", apart[-1] if apart else None, "g"),
        Figure("reweighed:far", "too far apart", far, "sacks", f"by over {limit} % of the hay as it came"),
    )


def pairs(session: Session, scope: Scope, which: str) -> Listing:
    """The two weights of each, the farthest apart first."""
    limit = scope.practice.number("constant_mass")
    found = sorted(_pairs(session, scope), key=lambda one: abs(one.difference), reverse=True)
    rows = [
        (
            payload.shown(one.code) if one.code else None,
            one.lot,
            one.first,
            one.second,
            one.difference,
            None if one.percent is None else to_places(one.percent, 2),
            one.balance,
            one.at,
        )
        for one in found
        if which != "far" or (one.percent is not None and one.percent > limit)
    ]
    heading = ("Tag", "Lot", "First, g", "Second, g", "Apart, g", "Apart, % of hay", "Balance", "When (UTC)")
    return listing(
        "Sacks weighed dry twice", "The second is made without seeing the first.", heading, rows, 0
    )


def _pairs(session: Session, scope: Scope) -> list[_Pair]:
    again = (
        select(Weighing.sample_id, StandingRow.code, Lot.id)
        .join(Sample, Sample.id == Weighing.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(StandingRow, StandingRow.sample_id == Sample.id)
        .where(Weighing.what == "dry again", Lot.season == scope.season)
        .distinct()
    )
    known = {sample: (code, lot) for sample, code, lot in session.execute(again)}
    weighed: dict[int, dict[str, Weighing]] = {}
    for row in weighings_in_force_of(session, list(known)):
        weighed.setdefault(row.sample_id, {})[row.what] = row
    return [
        _Pair(
            code,
            lot,
            mine["dry"].grams,
            mine["dry again"].grams,
            _hay(mine),
            mine["dry again"].balance,
            mine["dry again"].weighed_at,
        )
        for sample, (code, lot) in known.items()
        if {"dry", "dry again"} <= set(mine := weighed.get(sample, {}))
    ]


def _hay(mine: dict[str, Weighing]) -> Decimal | None:
    if "fresh" not in mine:
        return None
    tare = mine["tare"].grams if "tare" in mine and not mine["fresh"].zeroed else Decimal(0)
    return mine["fresh"].grams - tare
