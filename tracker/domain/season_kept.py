"""What a season plan was asked for and rests on, as plain values that can be kept, and what differs from it today."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any

from tracker.domain.feed import Feed
from tracker.domain.feeding_rules import FEEDING_RULES
from tracker.domain.herd import Group
from tracker.domain.practice import Practice
from tracker.domain.season import SeasonPlan, Stack
from tracker.domain.season_said import season_dict
from tracker.domain.storage_rules import STORAGE_RULES
from tracker.domain.times import day

_RULES = tuple(row[0] for row in (*FEEDING_RULES, *STORAGE_RULES))
Names = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Question:
    """What was asked. offers: lots of others with $ a short ton as baled; waste: % of the hay put out, not eaten."""

    first: date
    months: int
    offers: Mapping[int, Decimal] = field(default_factory=dict)
    waste: Decimal | None = None
    one_lot: bool = False

    def as_data(self) -> dict[str, Any]:
        """Plain values, every number with digits as text."""
        return {
            "first": self.first.isoformat(),
            "months": self.months,
            "offers": {str(lot): _plain(price) for lot, price in sorted(self.offers.items())},
            "waste": _plain(self.waste),
            "one_lot": self.one_lot,
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Question:
        """What as_data gave."""
        return cls(
            first=day(data["first"]),
            months=data["months"],
            offers={int(lot): Decimal(price) for lot, price in data["offers"].items()},
            waste=None if data["waste"] is None else Decimal(data["waste"]),
            one_lot=data["one_lot"],
        )


@dataclass(frozen=True)
class Change:
    """One value that differs; "" where there is none. what: whose, such as `lot 3, bales`."""

    what: str
    before: str
    now: str


def rests_on(
    stacks: Sequence[Stack], groups: Sequence[Group], feeds: Sequence[Feed], practice: Practice, program: str
) -> dict[str, dict[str, dict[str, Any]]]:
    """Every input by what it is about: lots with their report's values, groups, feeds that are offered, rules.

    program: the version of the program that reckons.
    """
    return {
        "lot": {str(stack.lot): _stack(stack) for stack in stacks},
        "group": {group.name: _parts(group) for group in groups},
        "feed": {feed.key: _parts(feed) for feed in feeds if feed.offered},
        "rule": {name: {"value": practice.word(name)} for name in _RULES},
        "program": {"version": {"value": program}},
    }


def told(plan: SeasonPlan, left_out: Sequence[tuple[int, str]], assumed: Sequence[int]) -> dict[str, Any]:
    """What came of it. left_out: lots without a report, and why; assumed: lots of which no bale was weighed."""
    return {
        **season_dict(plan),
        "left_out": [{"lot": lot, "why": why} for lot, why in left_out],
        "assumed": list(assumed),
    }


def changed_inputs(before: Mapping[str, Names], now: Mapping[str, Names]) -> tuple[Change, ...]:
    """What the plan rested on and what it would rest on now, value by value where they differ."""
    found: list[Change] = []
    for kind in dict.fromkeys((*before, *now)):
        old, new = before.get(kind, {}), now.get(kind, {})
        for name in dict.fromkeys((*old, *new)):
            found += _changes(f"{kind} {name}", old.get(name), new.get(name))
    return tuple(found)


def changed_outcome(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Change, ...]:
    """What came of it then and what would come of it now: money, tons short, and who eats which lot when."""
    sums = {"supplement_cost": "supplement, $", "hay_cost": "hay bought, $", "short_tons": "short, tons"}
    pairs = [(words, before[name], now[name]) for name, words in sums.items()]
    old, new = dict(_eaten(before)), dict(_eaten(now))
    pairs += [(key, old.get(key, ""), new.get(key, "")) for key in dict.fromkeys((*old, *new))]
    return tuple(Change(*pair) for pair in pairs if pair[1] != pair[2])


def _eaten(plan: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """`spring cows, Nov 2026` with `lot 3, 1.000 of the month`."""
    found: dict[str, list[str]] = {}
    for one in plan["fed"]:
        words = f"lot {one['lot']}, {one['share']} of the month"
        found.setdefault(f"{one['group']}, {one['month']}", []).append(words)
    for name, lots in found.items():
        yield name, "; ".join(sorted(lots))


def _changes(what: str, before: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> Iterator[Change]:
    if before is None or now is None:
        yield Change(what, "" if before is None else "in the plan", "" if now is None else "in the plan")
        return
    for name in dict.fromkeys((*before, *now)):
        old, new = _words(before.get(name)), _words(now.get(name))
        if old != new:
            yield Change(what if name == "value" else f"{what}, {name.replace('_', ' ')}", old, new)


def _words(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "" if value is None else str(value)


def _stack(stack: Stack) -> dict[str, Any]:
    parts = _parts(stack)
    hay = _parts(parts.pop("hay"))
    cautions = [caution.words for caution in parts.pop("cautions")]
    return {**parts, **hay, "cautions": cautions}


def _parts(row: Any) -> dict[str, Any]:
    return {one.name: _plain(getattr(row, one.name)) for one in fields(row)}


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value
