"""The answer in sentences that a producer can act on: short words, a number with its unit, a caution beside it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from tracker.domain.advice import ADD, ENOUGH, IF_EATEN, Amount, Supply
from tracker.domain.animals import BULL, HEIFER, Animals
from tracker.domain.feed import COTTONSEED, GRAIN, MEAL, NPN, TUB, Feed
from tracker.domain.feeding import Limit
from tracker.domain.feeding_rules import FEEDING_RULES
from tracker.domain.hay import Hay
from tracker.domain.hay_eaten import Intakes
from tracker.domain.least_cost import Mix
from tracker.domain.needs import Need
from tracker.domain.practice import Practice
from tracker.domain.units import to_places

NOTHING = "Nothing but minerals, salt and clean water."
OTHER_HAY = "Feed these animals other hay. Ask your veterinarian or county extension office about this one."
IN_PART = "Feed it only in part, beside other hay, as the caution says. Ask your veterinarian first."
BETTER_HAY = "Feed these animals better hay, or split the group. Your county extension office can help."
ADVICE = (
    "This is an estimate, no veterinary advice and no feeding plan: go over it with your county extension office.",
    "It takes for granted clean water, minerals, and hay that is always there.",
    "Score the animals' condition every 30 days: what you see on them counts for more than this sheet.",
    "Poisonous weeds, ergot and fescue toxins are not in this test; nitrate and mould only where the report says so.",
)


def pounds(value: Decimal) -> str:
    """A pound figure as people say it: one decimal."""
    return f"{to_places(value, 1)} lb"


def sure_words(verdict: str, supplies: Iterable[Supply], intakes: Intakes, hay: Hay) -> str:
    """How sure the verdict is, and what could turn it."""
    known = hay.tdn_margin is not None and hay.cp_margin is not None
    unknown = "" if known else " Not every value of the hay has a margin that is known."
    return f"{_turned_by(verdict, supplies, intakes)}{unknown}"


def _turned_by(verdict: str, supplies: Iterable[Supply], intakes: Intakes) -> str:
    counted = [one for one in supplies if one.name != "TDN"]
    if verdict == ENOUGH:
        tight = [one for one in counted if one.short.high > 0]
        if not tight:
            eaten = "by the bales counted" if intakes.counted else "by every way of reckoning what they eat"
            return f"It stays so at the low end of the hay's margins and {eaten}."
        return f"At the low end of the hay's margins {_lacks(tight)}"
    if verdict == IF_EATEN:
        tight = [one for one in counted if one.short.high > 0]
        least = pounds(intakes.low)
        return f"If they eat only {least} of its dry matter a day, {_lacks(tight)} Watch their condition."
    if verdict == ADD and all(one.short.low <= 0 for one in counted):
        return (
            f"If they eat {pounds(intakes.high)} of its dry matter a day, the hay alone could do. "
            "Count the bales they eat: that settles it."
        )
    if intakes.counted:
        return "It is short by the bales that were counted."
    return "It is short by every way of reckoning what they eat."


def _lacks(tight: list[Supply]) -> str:
    parts = (f"{to_places(one.short.high, 1)} {one.unit} of {one.name}" for one in tight)
    return f"it could lack up to {' and '.join(parts)} a day."


def add_words(mix: Mix, amount: Amount | None, most: Decimal | None) -> str:
    """What to add; amount and most are the range and the safe limit, lb as fed, of a mix that is one feed."""
    parts = [f"{pounds(part.as_fed_lb)} of {part.feed.name}" for part in mix.parts]
    span = ""
    if amount is not None and amount.low != amount.high:
        bound = "" if most is None or amount.high <= most else f", and never more than {pounds(most)}"
        span = f" (between {to_places(amount.low, 1)} and {to_places(amount.high, 1)} lb{bound})"
    cost = "" if mix.cost is None else f" It costs about ${to_places(mix.cost, 2)} a head each day."
    return f"Add {' and '.join(parts)} a head each day, as fed{span}.{cost}"


def maybe_words(intakes: Intakes, name: str | None, amount: Amount | None) -> str:
    """What to add if they eat less than reckoned."""
    start = f"Nothing, if they eat {pounds(intakes.headline)} of its dry matter a day."
    if name is None or amount is None or amount.high <= 0:
        return start
    return f"{start} If they eat less: up to {pounds(amount.high)} of {name} a head each day, as fed."


def supplement_words(
    feed: Feed, as_fed: Amount | None, driver: str, most: Decimal, broken: tuple[Limit, ...]
) -> str:
    """One supplement in a sentence."""
    if as_fed is None:
        return f"No amount of {feed.name} makes up for the {driver} that is short."
    amount = f"{as_fed.shown(1)} lb of {feed.name} a head each day, as fed, for {driver}"
    if not broken:
        return f"{amount}."
    reasons = "; ".join(limit.words for limit in broken)
    return f"It would take {amount}; more than {pounds(most)} is not safe: {reasons}."


def feed_cautions(
    feed: Feed, animals: Animals, diet_fat: Decimal | None, practice: Practice
) -> tuple[str, ...]:
    """What to mind with this feed, beside its amount."""
    found = []
    if feed.kind == GRAIN:
        found.append(
            "Raise it slowly over 7 to 14 days. Feed it every day, with room at the trough for every animal. "
            "Too much grain at once causes acidosis, founder and bloat."
        )
    elif feed.kind != TUB:
        found.append("Bring it in over 7 to 14 days, with room at the trough for every animal.")
    if feed.kind == MEAL:
        found.append("It may be given every second or third day, in larger portions.")
    if COTTONSEED in feed.marks:
        found.append(
            "Not for breeding bulls or calves under 4 months: it holds gossypol (Univ. of Florida AN134). "
            "Feed none that is moldy or holds over 14 % water."
        )
    if NPN in feed.marks:
        found.append(
            "It holds urea: too much at once kills. Follow the tag, and never feed it to hungry animals."
        )
    if feed.sulfur >= Decimal("0.40"):
        found.append("High in sulfur: have the water tested for sulfate before feeding much of it.")
    if feed.phosphorus is not None and feed.phosphorus >= Decimal("0.80"):
        found.append(
            "High in phosphorus: keep calcium at 1 to 2 times the phosphorus, and use a mineral without it."
        )
    warn = practice.number("fat_warn")
    if diet_fat is not None and diet_fat > warn:
        found.append(
            f"With it the diet holds {to_places(diet_fat, 1)} % fat; above {warn} % they may eat less hay."
        )
    return (*found, *([feed.note] if feed.note else []))


def warnings(animals: Animals, hay: Hay, need: Need, first: bool, practice: Practice) -> tuple[str, ...]:
    """What to mind with this group on this hay."""
    found = []
    if animals.kind == HEIFER:
        found.append(
            "First-calf heifers still grow, and growth is not in this need: feed them apart from the cows, and well."
        )
    if animals.thin:
        found.append(
            "Thin animals need more than this, to regain condition: sort them out and feed them apart, and better."
        )
    least = practice.number("microbe_protein")
    if hay.cp < least:
        found.append(
            f"Under {least} % protein the rumen's microbes starve, and cattle eat less of the hay. "
            "Feed protein first; then they eat more of it."
        )
    elif first:
        found.append(
            f"TDN is {to_places(hay.tdn_over_cp, 1)} times the protein, so protein is short before energy: "
            "feed protein first."
        )
    if need.cold_factor > 1:
        percent = to_places((need.cold_factor - 1) * 100, 0)
        found.append(
            f"Cold adds {percent} % to the energy they need, and nothing to the protein. Give them shelter from wind."
        )
    if animals.kind == BULL:
        found.append("For bulls at rest. Before and in the breeding season they need more.")
    return tuple(found)


def degradable_words(short: Decimal) -> str:
    """That the rumen's microbes lack protein they can use."""
    return (
        f"The microbes of the rumen may lack about {to_places(short, 1)} lb of degradable protein a day (a rule from "
        "memory; cattle make up for a part of it). Where protein is short, choose feeds of degradable protein."
    )


def basis(hay: Hay, intakes: Intakes, feeds: tuple[Feed, ...], practice: Practice) -> tuple[str, ...]:
    """The basis of the advice: equations, values, tables and rules, with what of them is from memory."""
    values = f"Hay values from {hay.report}" if hay.report else "Hay values as given"
    own = [name for name, *_ in FEEDING_RULES if practice.is_own(name)]
    sources = sorted({f"{feed.source} ({feed.year})" for feed in feeds})
    lines = [
        f"{values}: protein by {hay.cp_by or 'CP'}, TDN by {hay.tdn_by or 'the value given'}. TDN is calculated, not "
        "measured; lots are compared only by the same formula.",
        "Need: equations of NRC, Nutrient Requirements of Beef Cattle 1996 (update 2000); energy as net energy for "
        "maintenance (NEm), crude protein as metabolizable protein / 0.67. Maintenance, milk energy, the protein of "
        "pregnancy and the equation of intake are from memory, held against printed tables.",
        "Hay eaten: "
        + "; ".join(f"{one.model} {pounds(one.lb)} ({one.source})" for one in intakes.models)
        + ".",
        "Ranges: from the most hay they may eat, at the better end of its margins, to the least, at the worse end.",
    ]
    if feeds:
        lines.append(
            "Supplements: "
            + "; ".join(sources)
            + ". Tables vary: protein 15 %, energy 10 %, minerals 30 % (Preston). "
            "Fat, sulfur and degradable protein are from memory unless a feed is the programme's own. "
            "Replace them with your tag or analysis."
        )
    if own:
        lines.append(f"Rules that are the programme's own: {', '.join(own)}.")
    return tuple(lines)
