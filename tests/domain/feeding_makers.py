"""Animals, hay and feeds for the tests of feeding. The worked examples' hay and prices are invented."""

from __future__ import annotations

from decimal import Decimal as D
from typing import Any

from tracker.domain.animals import Animals, checked
from tracker.domain.feed import Feed, checked_feed
from tracker.domain.hay import Hay

# Shrunk weight is 0.96 x full weight (Univ. of Arkansas MP391); printed tables are in shrunk weight.
SHRINK = D("0.96")


def cow(weight: str | D = "1275", **more: Any) -> Animals:
    """A cow at the peak of lactation (week 8.5) unless said; weight is the full one."""
    stage = {} if {"days_since_calving", "days_to_calving"} & set(more) else {"days_since_calving": 60}
    return checked(**{"kind": "cow", "weight_lb": weight, **stage, **more})


def shrunk(weight: str, **more: Any) -> Animals:
    """A cow whose shrunk weight this is."""
    return cow((D(weight) / SHRINK).quantize(D("0.000001")), **more)


def carrying(weight: str, day: int, **more: Any) -> Animals:
    """A dry cow on this day of gestation; weight is the full one."""
    return cow(weight, days_to_calving=283 - day, **more)


def hay(cp: str, tdn: str, ndf: str, dm: str = "88", **more: Any) -> Hay:
    return Hay(D(dm), D(cp), D(tdn), D(ndf), **more)


HAY_A, HAY_B, HAY_C = hay("8.1", "52", "67"), hay("11.4", "57.5", "61"), hay("9", "54", "66")
HAY_D = hay("5.5", "46", "74", "86")

# Key, kind, DM, TDN, CP, $ a short ton as fed, cap in % of body weight, fat, sulfur. Fat and sulfur from memory.
_FEEDS = (
    ("corn", "grain", "88", "85", "10", "190", "0.25", "4", "0.12"),
    ("soyhulls", "by-product", "90", "78", "12", "220", "1.0", "2", "0.1"),
    ("gluten", "by-product", "90", "83", "24", "220", "0.7", "3.5", "0.5"),
    ("ddgs", "by-product", "90", "95", "28", "240", "0.5", "10", "0.69"),
    ("midds", "by-product", "90", "83", "18", "210", "0.5", "4.5", "0.2"),
    ("cottonseed", "by-product", "90", "93", "23", "300", "0.5", "17.5", "0.26"),
    ("csm", "oilseed meal", "90", "78", "45", "380", "0.4", "2", "0.4"),
    ("sbm", "oilseed meal", "89", "84", "50", "420", "0.4", "1.6", "0.45"),
    ("cubes", "pellets or cubes", "90", "72", "22", "320", "0.5", "3", "0.3"),
)


def feed(key: str = "soyhulls", **changes: str) -> Feed:
    """One of the worked examples' feeds, changed."""
    row = next(row for row in _FEEDS if row[0] == key)
    names = ("key", "kind", "dm", "tdn", "cp", "price_ton", "most_bw", "fat", "sulfur")
    texts = {**dict(zip(names, row, strict=True)), "name": key, "degradable": "60"}
    return checked_feed({**texts, "source": "invented", "year": "2026", **changes})


FEEDS = tuple(feed(row[0]) for row in _FEEDS)
BY_KEY = {one.key: one for one in FEEDS}
