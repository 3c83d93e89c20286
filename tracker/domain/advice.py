"""What an answer on feeding comes to, in a producer's words: one sentence, what to add, how sure, and why.

The sentences are short and their words plain; tests hold them to a grade of reading. Figures are texts with the
digits worth showing, each with its unit and basis beside it, so that a page, a paper and a report print the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Bar:
    """Supply against need of one thing: need, what the hay gives, from low to high. All per head and day, in unit."""

    name: str
    unit: str
    need: str
    gives: str
    low: str
    high: str
    met: bool
    words: str


@dataclass(frozen=True)
class FeedLine:
    """One feed that may close the gap. amount, low, high: lb as fed, cost: $ or "", all per head and day."""

    name: str
    amount: str
    low: str
    high: str
    cost: str
    driver: str
    safe: bool
    limits: tuple[str, ...]


@dataclass(frozen=True)
class Advice:
    """The answer for one group of animals.

    verdict: a code of domain.answer; sentence: the verdict; add: what to add, a sentence each; sure: how sure it is;
    warnings stand beside the verdict; basis: inputs, tables and versions; report: the number of the report that it
    rests on.
    """

    verdict: str
    animals: str
    sentence: str
    add: tuple[str, ...]
    sure: tuple[str, ...]
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]
    bars: tuple[Bar, ...]
    feeds: tuple[FeedLine, ...]
    basis: tuple[str, ...]
    report: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain values, as a report keeps them."""
        return asdict(self)

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Advice:
        """The same again from what a report kept."""
        bars = tuple(Bar(**bar) for bar in kept["bars"])
        feeds = tuple(FeedLine(**{**feed, "limits": tuple(feed["limits"])}) for feed in kept["feeds"])
        lists = {name: tuple(kept[name]) for name in ("add", "sure", "reasons", "warnings", "basis")}
        plain = {name: kept[name] for name in ("verdict", "animals", "sentence", "report")}
        return cls(**plain, **lists, bars=bars, feeds=feeds)
