"""An answer on feeding in a producer's words: one sentence, what to add, how sure that is, and what to mind.

It is read from the answer's plain values (Answer.as_dict), so that a page, a paper and an old report say the same.
The sentences are short and their words plain; tests hold them to a grade of reading. Figures are texts with the
digits worth showing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from tracker.domain.advice import ADD, ENOUGH, IF_EATEN, NOT_ALONE, NOT_THIS
from tracker.domain.units import to_places

DO_NOT = (NOT_ALONE, NOT_THIS)
ASK = "Ask your veterinarian or county extension office first."
Values = Mapping[str, Any]
# One feed is less work than two: it is named first while it costs no more than a tenth above the cheapest pair (our
# choice); the list below has all.
SINGLE_AT_MOST = Decimal("1.1")


@dataclass(frozen=True)
class Bar:
    """Supply against need of one thing: need, what the hay gives, from low to high. All a head and day, in unit."""

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
    """One feed that may close the gap. amount, low, high: lb as fed, cost: $ or "", all a head and day."""

    name: str
    amount: str
    low: str
    high: str
    cost: str
    driver: str
    safe: bool
    most: str
    limits: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class PlainAdvice:
    """The answer for one group of animals. sentence: the verdict; add: what to add; mind: what stands beside both.

    chosen: names of the feeds that `add` speaks of; feeds: all that were reckoned, the safe ones first.
    """

    verdict: str
    animals: str
    sentence: str
    add: tuple[str, ...]
    sure: tuple[str, ...]
    mind: tuple[str, ...]
    bars: tuple[Bar, ...]
    feeds: tuple[FeedLine, ...]
    chosen: tuple[str, ...]
    eaten: str
    basis: tuple[str, ...]
    report: str

    @property
    def stop(self) -> bool:
        """Whether it says not to feed the hay, or not by itself."""
        return self.verdict in DO_NOT

    @property
    def beside(self) -> tuple[str, ...]:
        """The cautions of the feeds that it speaks of."""
        found = [words for feed in self.feeds if feed.name in self.chosen for words in feed.cautions]
        return tuple(dict.fromkeys(found))


def plain(answer: Values) -> PlainAdvice:
    """The answer in plain words."""
    who = _who(answer["animals"])
    feeds = tuple(_feed(one) for one in answer["supplements"])
    mix = _mix(answer) if answer["verdict"] == ADD else None
    return PlainAdvice(
        verdict=answer["verdict"],
        animals=animals_said(answer["animals"]),
        sentence=_sentence(answer, who),
        add=_add(answer, feeds),
        sure=_sure(answer),
        mind=_mind(answer),
        bars=tuple(_bar(one) for one in answer["supplies"] if one["name"] in _BARS),
        feeds=feeds,
        chosen=tuple(part["name"] for part in mix["parts"]) if mix else (),
        eaten=_eaten(answer),
        basis=tuple(answer["basis"]),
        report=str(answer["hay"].get("report") or ""),
    )


def animals_said(animals: Values) -> str:
    """1,200-lb cows, calf 60 days old."""
    head = f"{int(animals['weight_lb']):,}-lb {animals['kind']}s"
    since, to = animals["days_since_calving"], animals["days_to_calving"]
    if since is not None:
        return f"{head}, calf {since} days old"
    return head if to is None else f"{head}, {to} days to calving"


def _who(animals: Values) -> str:
    if animals["kind"] == "bull":
        return "bulls"
    heifers = animals["kind"] != "cow"
    if animals["days_since_calving"] is not None:
        return "first-calf heifers with calves" if heifers else "cows with calves"
    return "bred heifers" if heifers else "dry cows"


def _sentence(answer: Values, who: str) -> str:
    if answer["too_poor"]:
        return f"This hay is too poor for {who}, even with one or two feeds added."
    return {
        ENOUGH: f"This hay alone is enough for {who}.",
        IF_EATEN: f"This hay alone is enough for {who}, if they eat all they should.",
        ADD: f"This hay alone is not enough for {who}.",
        NOT_ALONE: f"Do not feed this hay alone to {who}.",
        NOT_THIS: f"Do not feed this hay to {who}.",
    }[answer["verdict"]]


def _add(answer: Values, feeds: Sequence[FeedLine]) -> tuple[str, ...]:
    verdict, mix = answer["verdict"], _mix(answer)
    why = _why(answer)
    if answer["too_poor"]:
        return ("Feed them better hay, or split the group.", "Call us: we look at it with you.")
    if verdict == NOT_THIS:
        return (f"{why} Feed them other hay.".strip(), ASK)
    if verdict == NOT_ALONE:
        return (f"{why} Feed it only as a part of what they eat.".strip(), ASK)
    if verdict == ENOUGH:
        return ("Add nothing but salt, minerals and clean water.",)
    if verdict == IF_EATEN:
        return ("Add nothing for now. Watch their condition.", *_in_case(feeds))
    if not mix:
        return ("We have no list of feeds to choose from. Call us.",)
    parts = " and ".join(f"{_round(part['as_fed_lb'])} lb of {part['name']}" for part in mix["parts"])
    said = [f"Add {parts}, as fed, a head each day."]
    if len(mix["parts"]) == 1:
        said += _span(next((one for one in feeds if one.name == mix["parts"][0]["name"]), None))
    if mix["cost"]:
        said.append(f"That costs about ${mix['cost']} a head each day.")
    return tuple(said)


def _mix(answer: Values) -> Values | None:
    """What is spoken of first: one feed where it costs hardly more than two, for it is less work."""
    both, single = answer["cheapest"], answer["cheapest_single"]
    if not both or not single:
        return dict(both) if both else None
    priced = both["cost"] and single["cost"]
    dearer = priced and Decimal(single["cost"]) > Decimal(both["cost"]) * SINGLE_AT_MOST
    return dict(both) if dearer else dict(single)


_HARMS = {"nitrate": "Nitrate is high.", "hot hay": "The stack is hot.", "mould": "There is mold in it."}


def _why(answer: Values) -> str:
    """Why it may not be fed, in a word; the figures and the cautions stand below."""
    topics = dict.fromkeys(one["topic"] for one in answer["cautions"] if one["topic"] in _HARMS)
    return " ".join(_HARMS[topic] for topic in topics)


def _in_case(feeds: Sequence[FeedLine]) -> list[str]:
    first = next((one for one in feeds if one.safe and one.high not in ("", "0.0")), None)
    return (
        [f"If they lose it, add up to {first.high} lb of {first.name}, as fed, a head each day."]
        if first
        else []
    )


def _span(feed: FeedLine | None) -> list[str]:
    if feed is None or feed.low == feed.high:
        return []
    low = "nothing" if feed.low == "0.0" else feed.low
    return [f"It may be {low} to {feed.high} lb. How much hay they eat decides."]


def _sure(answer: Values) -> tuple[str, ...]:
    verdict = answer["verdict"]
    if verdict in DO_NOT:
        return ()
    counted = [one for one in answer["supplies"] if one["name"] != "TDN"]
    tight = [one["name"] for one in counted if Decimal(one["short"]["high"]) > 0]
    if verdict == ENOUGH and not tight:
        return ("We are sure: it holds for small eaters too.",)
    if verdict == ENOUGH:
        return (f"It is close: small eaters may run short of {' and '.join(tight)}.",)
    if verdict == IF_EATEN:
        return (f"It is close: if they eat less, they run short of {' and '.join(tight) or 'energy'}.",)
    if all(Decimal(one["short"]["low"]) <= 0 for one in counted):
        return (
            "We are not sure: big eaters may do well on the hay alone.",
            "Count the bales they eat. That settles it.",
        )
    return ("We are sure that it is short. How much it is short depends on what they eat.",)


def _mind(answer: Values) -> tuple[str, ...]:
    """What to mind with this group on this hay, in place of the longer warnings of the report."""
    animals, said = answer["animals"], []
    if animals["kind"] == "first-calf heifer":
        said.append("Heifers still grow and need more than this. Feed them apart from the cows.")
    if animals["condition"] is not None and Decimal(animals["condition"]) <= 4:
        said.append("Thin cows need more than this. Feed them apart from the others.")
    if answer["protein_first"] and answer["verdict"] not in DO_NOT:
        said.append("Protein comes first on this hay. With it, they eat more of the hay.")
    if animals["kind"] == "bull":
        said.append("This is for bulls at rest. In the breeding season they need more.")
    if Decimal(answer["need"]["cold_factor"]) > 1:
        said.append("Cold is counted in. Give them shelter from the wind.")
    return tuple(said)


_BARS = {"TDN": ("Energy (TDN)", "lb of TDN"), "protein": ("Protein (CP)", "lb of protein")}


def _bar(supply: Values) -> Bar:
    name, unit = _BARS[supply["name"]]
    gives = supply["supplied"]
    need, value = _round(supply["need"]), _round(gives["value"])
    enough = "That is enough." if supply["met"] else "That is not enough."
    return Bar(
        name=name,
        unit="lb a head each day",
        need=need,
        gives=value,
        low=_round(gives["low"]),
        high=_round(gives["high"]),
        met=bool(supply["met"]),
        words=f"The hay gives {value} {unit} a day; they need {need}. {enough}",
    )


def _feed(one: Values) -> FeedLine:
    fed, cost = one["as_fed_lb"] or {}, one["cost"] or {}
    return FeedLine(
        name=one["name"],
        amount=_round(fed.get("value")),
        low=_round(fed.get("low")),
        high=_round(fed.get("high")),
        cost=str(cost.get("value") or ""),
        driver=one["driver"],
        safe=bool(one["safe"]),
        most=_round(one["most_as_fed_lb"]),
        limits=tuple(one["limits"]),
        cautions=tuple(one["cautions"]),
    )


def _eaten(answer: Values) -> str:
    pounds = [Decimal(one["lb"]) for one in answer["intakes"]]
    low, high = to_places(min(pounds), 0), to_places(max(pounds), 0)
    if low == high:
        return f"We take it that each eats {low} lb of dry hay a day."
    usual = to_places(pounds[0], 0)
    return f"We take it that each eats {usual} lb of dry hay a day. It may be {low} to {high} lb."


def _round(text: str | None) -> str:
    """One decimal, which is more than a feed bucket shows; nothing for nothing."""
    return "" if text is None else format(to_places(Decimal(text), 1), "f")
