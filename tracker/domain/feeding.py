"""The feeding gap: what the animals need less what the hay brings, and how much of one feed closes it.

With hay eaten H and x lb of a feed, both dry, H falls by r x (substitution). The feed has to bring what is short
in energy, in protein, and where the hay is under 7 % protein, enough for the rumen's microbes:

    x = max(short NEm / (ne_f - r ne_h), short CP / (cp_f - r cp_h), H (7 - cp_h) / (cp_f - 7 + r (7 - cp_h)))
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from tracker.domain.animals import BULL, Animals
from tracker.domain.feed import COTTONSEED, NPN, Feed
from tracker.domain.hay import Hay
from tracker.domain.needs import Need, nem_of_tdn
from tracker.domain.practice import COMMON, Practice

ENERGY, PROTEIN, MICROBES = "energy", "protein", "protein for the rumen"
MEAL_PROTEIN = 38
NONE = Decimal(0)


class Shortfall(NamedTuple):
    """What one animal lacks in a day; below zero is a surplus. NEm in Mcal, protein in lb."""

    nem_mcal: Decimal
    cp_lb: Decimal


class Closing(NamedTuple):
    """lb of a feed's dry matter that each want asks for, below zero where none is; None: no amount is enough."""

    energy_lb: Decimal | None
    protein_lb: Decimal | None
    microbe_lb: Decimal | None

    @property
    def unclipped_lb(self) -> Decimal | None:
        """The largest of the three, below zero where nothing is wanted; None where one cannot be closed."""
        if self.energy_lb is None or self.protein_lb is None or self.microbe_lb is None:
            return None
        return max(self.energy_lb, self.protein_lb, self.microbe_lb)

    @property
    def dm_lb(self) -> Decimal | None:
        found = self.unclipped_lb
        return None if found is None else max(found, NONE)

    @property
    def driver(self) -> str:
        """What asks for the most: ENERGY, PROTEIN or MICROBES; what cannot be closed asks for more than anything."""
        asked = {ENERGY: self.energy_lb, PROTEIN: self.protein_lb, MICROBES: self.microbe_lb}
        never = [name for name, lb in asked.items() if lb is None]
        return never[0] if never else max(asked, key=lambda name: asked[name] or NONE)


def shortfall(need: Need, hay: Hay, hay_lb: Decimal) -> Shortfall:
    """Need less what so much hay brings."""
    return Shortfall(need.nem_mcal - hay_lb * nem_of_tdn(hay.tdn), need.cp_lb - hay_lb * hay.cp / 100)


def protein_first(hay: Hay, practice: Practice = COMMON) -> bool:
    """Whether the microbes are short of nitrogen before they are short of energy: TDN over CP above 7.

    Source: Moore et al. 1999, J. Anim. Sci.
    """
    return hay.tdn_over_cp > practice.number("protein_first")


def substitution(feed: Feed, hay: Hay, practice: Practice = COMMON) -> Decimal:
    """lb of hay left uneaten for each lb of the feed, dry.

    None for meals of 38 % protein and more, and for feeds without starch where protein comes first; our choice, after
    Moore et al. 1999.
    """
    spares_hay = feed.cp >= MEAL_PROTEIN or (protein_first(hay, practice) and not feed.starchy)
    return NONE if spares_hay else feed.substitution


def nem_of_feed(feed: Feed) -> Decimal:
    """NEm in a pound of the feed's dry matter, Mcal; nothing for a feed whose energy does not count."""
    return nem_of_tdn(feed.tdn) if feed.energy_counts else NONE


class Wants(NamedTuple):
    """What each want lacks (Mcal NEm, lb protein, lb protein for the rumen), or what a pound of a feed brings."""

    energy: Decimal
    protein: Decimal
    microbes: Decimal


def closing(
    need: Need, hay: Hay, hay_lb: Decimal, feed: Feed, r: Decimal, practice: Practice = COMMON
) -> Closing:
    """How much of this feed alone closes the gap, by each want."""
    return closed(lacking(need, hay, hay_lb, practice), brought(feed, hay, r, practice))


def lacking(need: Need, hay: Hay, hay_lb: Decimal, practice: Practice = COMMON) -> Wants:
    """What so much hay leaves wanting."""
    return Wants(*shortfall(need, hay, hay_lb), microbes_lack(hay, hay_lb, practice))


def brought(feed: Feed, hay: Hay, r: Decimal, practice: Practice = COMMON) -> Wants:
    """What a pound of this feed brings to each want, less what the hay that it replaces would have brought."""
    return Wants(
        nem_of_feed(feed) - r * nem_of_tdn(hay.tdn),
        (feed.cp - r * hay.cp) / 100,
        max(microbes_gain(hay, feed, r, practice), NONE),
    )


def closed(lack: Wants, each: Wants) -> Closing:
    """How much of what brings so much each pound makes up for what is lacking."""
    found = [short / gain if gain > 0 else None for short, gain in zip(lack, each, strict=True)]
    if None in found:
        # A feed poorer than the hay it replaces eats up a surplus, which has to last for what the other wants ask
        # for; it makes up for no shortfall. A surplus has no amount to be measured in.
        asked = max([NONE, *(lb for lb in found if lb is not None)])
        found = [
            NONE if lb is None and short <= gain * asked else lb
            for lb, short, gain in zip(found, lack, each, strict=True)
        ]
    return Closing(*found)


def microbes_lack(hay: Hay, hay_lb: Decimal, practice: Practice = COMMON) -> Decimal:
    """Protein that so much hay lacks of 7 %, lb; nothing where it has as much."""
    return max(practice.number("microbe_protein") - hay.cp, NONE) * hay_lb / 100


def microbes_gain(hay: Hay, feed: Feed, r: Decimal, practice: Practice = COMMON) -> Decimal:
    """What a pound of this feed, and the hay it leaves, take off that lack, lb."""
    least = practice.number("microbe_protein")
    return (feed.cp - least + r * (least - hay.cp)) / 100


@dataclass(frozen=True)
class Limit:
    """A limit on feeds together: the sum of each feed's share x its pounds (dry) is at most `most`."""

    name: str
    shares: tuple[Decimal, ...]
    most: Decimal
    words: str

    def alone(self, place: int = 0) -> Decimal | None:
        """Most pounds of the feed at this place if it stands alone, None where it does not limit."""
        share = self.shares[place]
        return self.most / share if share > 0 else None

    def reached(self, pounds: tuple[Decimal, ...]) -> bool:
        """Whether these pounds come up to it, to a hundredth of a pound."""
        used = sum((share * lb for share, lb in zip(self.shares, pounds, strict=True)), Decimal(0))
        return any(pounds) and used >= self.most - max(abs(self.most) / 1000, Decimal("0.001"))


def limits(
    animals: Animals, hay: Hay, hay_lb: Decimal, feeds: tuple[Feed, ...], practice: Practice = COMMON
) -> tuple[Limit, ...]:
    """Everything that limits these feeds beside so much of this hay: each feed's own, and those of the diet."""
    found = [_own(animals, hay, feeds, place, practice) for place in range(len(feeds))]
    rates = [substitution(feed, hay, practice) for feed in feeds]
    found += [
        _of_diet(feeds, rates, hay_lb, place)
        for place, feed in enumerate(feeds)
        if feed.most_of_diet is not None
    ]
    return (*found, *_shared(animals, hay, hay_lb, feeds, rates, practice))


def _own(animals: Animals, hay: Hay, feeds: tuple[Feed, ...], place: int, practice: Practice) -> Limit:
    feed = feeds[place]
    shares = tuple(Decimal(int(each == place)) for each in range(len(feeds)))
    if COTTONSEED in feed.marks and animals.kind == BULL:
        words = f"{feed.name}: not for breeding bulls (gossypol) without advice (Univ. of Florida AN134)"
        return Limit("gossypol", shares, Decimal(0), words)
    least_tdn = practice.number("npn_tdn_least")
    if NPN in feed.marks and hay.tdn < least_tdn:
        words = f"{feed.name} holds urea, which cattle use poorly on hay under {least_tdn} % TDN"
        return Limit("urea", shares, Decimal(0), words)
    words = f"{feed.name}: at most {feed.most_bw} % of body weight a day"
    return Limit("own limit", shares, feed.most_bw * animals.weight_lb / 100, words)


def _of_diet(feeds: tuple[Feed, ...], rates: list[Decimal], hay_lb: Decimal, place: int) -> Limit:
    share = (feeds[place].most_of_diet or Decimal(100)) / 100
    shares = tuple(int(each == place) - share * (1 - rate) for each, rate in enumerate(rates))
    words = f"{feeds[place].name}: at most {feeds[place].most_of_diet} % of all dry matter eaten"
    return Limit("share of diet", shares, share * hay_lb, words)


def _shared(
    animals: Animals,
    hay: Hay,
    hay_lb: Decimal,
    feeds: tuple[Feed, ...],
    rates: list[Decimal],
    practice: Practice,
) -> tuple[Limit, ...]:
    body = animals.weight_lb / 100
    starch, total, forage = (
        practice.number(name) for name in ("starch_most", "supplement_most", "forage_least")
    )
    fat, sulfur = practice.number("fat_most"), practice.number("sulfur_most")
    hay_fat = practice.number("hay_fat") if hay.fat is None else hay.fat
    hay_sulfur = practice.number("hay_sulfur") if hay.sulfur is None else hay.sulfur

    def within(
        most: Decimal, of_hay: Decimal, of_feeds: list[Decimal]
    ) -> tuple[tuple[Decimal, ...], Decimal]:
        # Sum of (f - most) x + r x (most - h) <= (most - h) H: the mean of all that is eaten is at most `most`.
        room = most - of_hay
        return tuple(
            each - most + rate * room for each, rate in zip(of_feeds, rates, strict=True)
        ), room * hay_lb

    return (
        Limit(
            "starch",
            tuple(Decimal(int(feed.starchy)) for feed in feeds),
            starch * body,
            f"grain: at most {starch} % of body weight a day beside hay",
        ),
        Limit(
            "all supplement",
            tuple(Decimal(1) for _ in feeds),
            total * body,
            f"all supplement: at most {total} % of body weight a day",
        ),
        Limit(
            "long hay",
            tuple(rates),
            max(hay_lb - forage * body, Decimal(0)),
            f"long hay: at least {forage} % of body weight a day has to stay",
        ),
        Limit(
            "fat",
            *within(fat, hay_fat, [feed.fat for feed in feeds]),
            f"fat: at most {fat} % of all dry matter",
        ),
        Limit(
            "sulfur",
            *within(sulfur, hay_sulfur, [feed.sulfur for feed in feeds]),
            f"sulfur: at most {sulfur} % of all dry matter, water not counted",
        ),
    )
