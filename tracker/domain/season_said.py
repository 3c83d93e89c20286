"""A season plan as plain values: for JSON, for a page, for a test."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from tracker.domain.season import Feeding, LotUse, SeasonPlan
from tracker.domain.units import to_places


def season_dict(plan: SeasonPlan) -> dict[str, Any]:
    """Text with the digits worth showing: tons as baled, $ in all, pounds as fed a head and day."""
    return {
        "months": [month.name for month in plan.months],
        "one_lot_a_month": plan.one_lot,
        "supplement_cost": _said(plan.supplement_cost, 2),
        "hay_cost": _said(plan.hay_cost, 2),
        "short_tons": _said(plan.short_tons, 2),
        "fed": [_fed(one) for one in plan.feedings],
        "short": [
            {
                "group": short.group.name,
                "month": short.month.name,
                "share": _said(short.share, 3),
                "tons": _said(short.tons, 2),
            }
            for short in plan.short
        ],
        "lots": [_use(use) for use in plan.lots],
        "not_fed": [
            {
                "lot": one.stack.lot,
                "group": one.group.name,
                "month": one.month.name,
                "why": one.why_not,
            }
            for one in plan.barred
        ],
    }


def _fed(one: Feeding) -> dict[str, Any]:
    daily = one.daily
    parts = daily.mix.parts if daily.mix else ()
    return {
        "group": daily.group.name,
        "month": daily.month.name,
        "lot": daily.stack.lot,
        "share": _said(one.share, 3),
        "tons": _said(one.tons, 2),
        "bales": _said(one.bales, 0),
        "hay_lb_dm": _said(daily.hay_lb, 1),
        "supplement": [{"feed": part.feed.key, "lb_as_fed": _said(part.as_fed_lb, 1)} for part in parts],
        "cost": _said(one.supplement_cost, 2),
    }


def _use(use: LotUse) -> dict[str, Any]:
    return {
        "lot": use.stack.lot,
        "tons": _said(use.stack.tons, 2),
        "eaten": _said(use.eaten, 2),
        "lost_in_feeding": _said(use.lost_in_feeding, 2),
        "lost_in_storing": _said(use.lost_in_store, 2),
        "left": _said(use.left, 2),
        "price_ton": None if use.stack.price_ton is None else _said(use.stack.price_ton, 2),
        # While hay is short a ton more is hay and no money.
        "one_more_ton_saves": None if use.worth is None or use.worth_short else _said(use.worth, 2),
        "one_more_ton_less_short": None if use.worth_short is None else _said(use.worth_short, 3),
    }


def _said(value: Decimal, places: int) -> str:
    return format(to_places(value, places), "f")
