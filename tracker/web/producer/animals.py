"""Which animals the page is for: those that somebody tapped, a group the producer has told of, or a usual cow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from tracker.domain.animals import BULL, COW, HEIFER, STAGES, Animals, animals_at
from tracker.domain.herd import animals_on
from tracker.domain.needs import need_of, needed_density
from tracker.domain.units import number, whole
from tracker.errors import TrackerError
from tracker.lookups.groups import groups_of

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

NAMES = ("kind", "stage", "weight", "milk", "condition", "group")
# Steps that a thumb can choose from; our choice, around what beef cattle weigh.
WEIGHTS = {
    COW: (1000, 1100, 1200, 1300, 1400, 1500),
    HEIFER: (900, 1000, 1100, 1200),
    BULL: (1600, 1800, 2000, 2200),
}
# lb of milk at the peak: a usual beef cow 20 (common practice), a first-calf heifer 13 (Univ. of Arkansas MP391).
MILK = {
    COW: ((12, "little"), (20, "usual"), (28, "much")),
    HEIFER: ((10, "little"), (13, "usual"), (18, "much")),
}
CONDITION = ((4, "thin: ribs show"), (5, "good"), (7, "fat"))
KIND_WORDS = {COW: "Cows", HEIFER: "Heifers with their first calf", BULL: "Bulls"}
# Whom the page is for before anybody has chosen: the usual animal that needs most, so that no hay looks too good.
FIRST = {"kind": COW, "stage": "early-milk", "weight": "1200", "milk": "20"}


@dataclass(frozen=True)
class Choice:
    """The animals of a page. query: how the address says them; told: whether somebody chose; name: of a group."""

    animals: Animals
    query: Mapping[str, str]
    told: bool
    name: str = ""


def chosen(args: Mapping[str, str], session: Session, producer: str, today: date) -> Choice:
    """The animals that the address names. What it names wrongly is left out of account, and the usual cow stands."""
    query = {name: args[name] for name in NAMES if args.get(name)}
    groups = {one.group.name: one.group for one in groups_of(session, producer)}
    if query.get("group") in groups:
        group = groups[query["group"]]
        return Choice(animals_on(group, today), {"group": query["group"]}, True, group.name)
    try:
        if "kind" in query:
            return Choice(_tapped(query), query, True)
    except TrackerError:
        pass
    if groups:
        key = max(groups, key=lambda name: _asks(animals_on(groups[name], today)))
        return Choice(animals_on(groups[key], today), {"group": key}, True, key)
    return Choice(_tapped(FIRST), {}, False)


def _asks(animals: Animals) -> Decimal:
    """How good a diet they need, % TDN: of several groups the page opens on the one that asks most."""
    density = needed_density(need_of(animals), animals)
    return Decimal(100) if density is None else density.tdn


def _tapped(query: Mapping[str, str]) -> Animals:
    weight = number(query.get("weight", ""), field="weight")
    found = animals_at(query["kind"], query.get("stage", ""), weight)
    if query.get("milk") and found.milking:
        found = replace(found, peak_milk_lb=Decimal(whole(query["milk"], field="milk", least=2)))
    if query.get("condition"):
        found = replace(found, condition=Decimal(whole(query["condition"], field="condition", least=1)))
    return found


@dataclass(frozen=True)
class Tap:
    """One thing to tap: what it says, and what it adds to the address. last: it leads to the page."""

    words: str
    query: Mapping[str, str]
    last: bool = False


@dataclass(frozen=True)
class Taps:
    """One step of the three: its question, and what there is to tap under which heading."""

    number: int
    question: str
    sections: tuple[tuple[str, tuple[Tap, ...]], ...]


def next_taps(args: Mapping[str, str], groups: Sequence[str]) -> Taps:
    """The step that follows what is chosen already. groups: names of the producer's own groups."""
    kind = args.get("kind", "")
    if kind not in KIND_WORDS:
        return Taps(1, "Which animals is it for?", (*_own(groups), *_kinds()))
    said = {name: args[name] for name in ("kind", "stage") if args.get(name)}
    if not args.get("weight"):
        taps = tuple(Tap(f"{pounds:,} lb", {**said, "weight": str(pounds)}) for pounds in WEIGHTS[kind])
        return Taps(2, "About how much does one weigh?", (("", taps),))
    said["weight"] = args["weight"]
    stage = next((one for one in STAGES if one.key == args.get("stage")), None)
    if kind != BULL and stage is not None and stage.days_since is not None:
        taps = tuple(
            Tap(f"{words}: {pounds} lb a day at the most", {**said, "milk": str(pounds)}, last=True)
            for pounds, words in MILK[kind]
        )
        return Taps(3, "How much milk do they give?", (("", taps),))
    taps = tuple(Tap(words, {**said, "condition": str(score)}, last=True) for score, words in CONDITION)
    return Taps(3, "How do they look?", (("", taps),))


def _own(groups: Sequence[str]) -> tuple[tuple[str, tuple[Tap, ...]], ...]:
    taps = tuple(Tap(name, {"group": name}, last=True) for name in groups)
    return (("Your own groups", taps),) if taps else ()


def _kinds() -> tuple[tuple[str, tuple[Tap, ...]], ...]:
    found: list[tuple[str, tuple[Tap, ...]]] = []
    for kind, words in KIND_WORDS.items():
        if kind == BULL:
            found.append((words, (Tap("at rest", {"kind": BULL}),)))
            continue
        taps = tuple(Tap(stage.words, {"kind": kind, "stage": stage.key}) for stage in STAGES)
        found.append((words, taps))
    return tuple(found)
