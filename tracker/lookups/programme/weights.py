"""The sacks weighed dry a second time, blind, and how well the two weights agreed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.quantiles import quantile
from tracker.domain.units import to_places
from tracker.lookups.page import page_of
from tracker.lookups.programme.figure import Asked, Cells, Figure, Listing, Scope, listing
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow
from tracker.storage.tallies import DryAgain, in_order

HEADING = ("Tag", "Lot", "First, g", "Second, g", "Apart, g", "Apart, % of hay", "Balance", "When (UTC)")


def reweighed(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """How many were weighed twice, how far apart the two were, and how many too far."""
    limit = scope.practice.number("constant_mass")
    ours = DryAgain.season == scope.season
    count = session.scalar(select(func.count()).where(ours)) or 0
    far = session.scalar(select(func.count()).where(ours, DryAgain.percent > in_order(limit))) or 0
    middle, greatest = None, None
    if count:
        # Of an even number the two in the middle; what lies between them is the median, whatever lies outside.
        half = (count - 1) // 2
        middle = to_places(quantile(_apart(session, scope, half, 2 - count % 2), Decimal("0.5")), 2)
        (greatest,) = _apart(session, scope, count - 1, 1)
    return (
        Figure("reweighed", "weighed dry twice", count, "sacks"),
        Figure("reweighed", "apart, median", middle, "g"),
        Figure("reweighed", "apart, greatest", greatest, "g"),
        Figure("reweighed:far", "too far apart", far, "sacks", f"by over {limit} % of the hay as it came"),
    )


def _apart(session: Session, scope: Scope, begin: int, count: int) -> list[Decimal]:
    """How far apart some are, in grams, with so many before them that are closer."""
    order = (DryAgain.apart, DryAgain.sample_id)
    wanted = select(DryAgain.first, DryAgain.second).where(DryAgain.season == scope.season).order_by(*order)
    return [abs(second - first) for first, second in session.execute(wanted.offset(begin).limit(count))]


def pairs(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The two weights of each, the farthest apart first."""
    wanted: Any = (
        select(DryAgain, StandingRow.code, Sample.lot_id)
        .join(Sample, Sample.id == DryAgain.sample_id)
        .join(StandingRow, StandingRow.sample_id == DryAgain.sample_id)
        .where(DryAgain.season == scope.season)
    )
    if asked.which == "far":
        wanted = wanted.where(DryAgain.percent > in_order(scope.practice.number("constant_mass")))
    by = [DryAgain.apart, DryAgain.sample_id]
    page = page_of(session, wanted, by, _cells, asked.after, asked.limit, down=True)
    words = "The second is made without seeing the first."
    return listing("Sacks weighed dry twice", words, HEADING, page, 0)


def _cells(row: DryAgain, code: str | None, lot: int) -> Cells:
    apart = row.second - row.first
    return (
        payload.shown(code) if code else None,
        lot,
        row.first,
        row.second,
        apart,
        None if not row.hay else to_places(100 * abs(apart) / row.hay, 2),
        row.balance,
        row.at,
    )
