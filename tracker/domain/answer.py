"""Does this hay carry these animals, and what closes the gap: need, hay eaten, shortfall, supplements, cheapest mix.

Everything is reckoned by each way of estimating intake and within the hay's margins; the headline is the NRC
equation, the rest is the range. A hay that may not be fed gets no amounts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, partial

from tracker.domain import answer_words as say
from tracker.domain.advice import (
    ADD,
    ENOUGH,
    IF_EATEN,
    NOT_ALONE,
    NOT_THIS,
    TOO_POOR,
    VERDICTS,
    Amount,
    Answer,
    Supplement,
    Supply,
)
from tracker.domain.animals import Animals
from tracker.domain.cautions import Caution
from tracker.domain.feed import Feed
from tracker.domain.feeding import (
    brought,
    closed,
    closing,
    lacking,
    limits,
    protein_first,
    shortfall,
    substitution,
)
from tracker.domain.fitness import Unfit, unfit
from tracker.domain.hay import Hay, checked_hay
from tracker.domain.hay_eaten import TABLE, Intakes, checked_intakes, eaten
from tracker.domain.least_cost import Mix, cheapest, lightest
from tracker.domain.needs import Need, need_of, needed_density, tdn_lb
from tracker.domain.practice import COMMON, Practice
from tracker.domain.spread import Amounts, Spread, by_margins

ZERO = Decimal(0)


def answer(
    animals: Animals,
    hay: Hay,
    feeds: Iterable[Feed] = (),
    cautions: Sequence[Caution] = (),
    practice: Practice = COMMON,
    *,
    intakes: Intakes | None = None,
    spread: Spread | None = None,
) -> Answer:
    """The answer for animals fed this hay free choice.

    intakes: bales counted, in place of the three ways; spread: an error budget, in place of the hay's own margins.
    Raises Refused `hay-implausible`, `implausible-intake`.
    """
    checked_hay(hay)
    offered = tuple(feed for feed in feeds if feed.offered)
    fed = checked_intakes(animals, intakes) if intakes else eaten(animals, hay, practice)
    work = _Work(animals, hay, need_of(animals), fed, offered, practice)
    reasons = unfit(animals, cautions)
    verdict = _verdict(work, reasons)
    fits = verdict in (IF_EATEN, ADD)
    # What no feed is named for is not reckoned for every feed, up and down each margin.
    reckon = work.with_feeds if fits else work.lacks
    values = reckon(hay)
    # Errors of other values leave the hay as it is.
    half = (spread or by_margins(hay))(lambda moved: values if moved == hay else reckon(moved))
    supplies = _supplies(work, values, half)
    supplements = _ranked(_supplement(work, feed, values, half) for feed in offered) if fits else ()
    mixes = _mixes(work) if verdict == ADD else (None, None)
    words = [one.words for one in reasons]
    if verdict == ADD and offered and mixes[0] is None:
        verdict = NOT_THIS
        words = ["No one or two of the supplements listed make up for what is short within their limits."]
    return Answer(
        animals=animals,
        hay=hay,
        need=work.need,
        density=needed_density(work.need, animals),
        intakes=work.intakes,
        supplies=supplies,
        verdict=verdict,
        verdict_words=TOO_POOR if verdict == NOT_THIS and not reasons else VERDICTS[verdict],
        sure="" if reasons else say.sure_words(verdict, supplies, work.intakes, hay),
        reasons=tuple(words),
        protein_first=protein_first(hay, practice),
        supplements=supplements,
        cheapest=mixes[0],
        cheapest_single=mixes[1],
        cost=_cost(work, mixes[0], supplements),
        what_to_add=say.BETTER_HAY
        if verdict == NOT_THIS and not reasons
        else _what_to_add(verdict, work.intakes, mixes[0], supplements),
        cautions=tuple(cautions),
        warnings=_warnings(work, verdict, mixes[0]),
        basis=say.basis(hay, work.intakes, offered, practice),
    )


@dataclass(frozen=True)
class _Work:
    """What the sums rest on; its amounts are by every way of reckoning intake, for this hay or for moved hay."""

    animals: Animals
    hay: Hay
    need: Need
    intakes: Intakes
    feeds: tuple[Feed, ...]
    practice: Practice

    def intakes_on(self, hay: Hay) -> Intakes:
        # Bales that were counted stay what they are; so do the cap, a rule, and the step of the cow table: that a
        # margin reaches over a step says nothing of what is eaten.
        if self.intakes.counted or hay == self.hay:
            return self.intakes
        moved = zip(eaten(self.animals, hay, self.practice).models, self.intakes.models, strict=True)
        return Intakes(tuple(old if old.model == TABLE else new for new, old in moved), self.intakes.cap_lb)

    @cached_property
    def rates(self) -> dict[str, Decimal]:
        """Hay left for a pound of each feed: that of the hay itself, however its values are moved."""
        return {feed.key: substitution(feed, self.hay, self.practice) for feed in self.feeds}

    def lacks(self, hay: Hay) -> Amounts:
        """What is short of energy, protein and TDN."""
        found: dict[str, Decimal] = {}
        intakes = self.intakes_on(hay)
        for model in intakes.models:
            lb = intakes.alone(model.lb)
            short = shortfall(self.need, hay, lb)
            found[f"energy {model.model}"] = short.nem_mcal
            found[f"protein {model.model}"] = short.cp_lb
            found[f"TDN {model.model}"] = tdn_lb(self.need.nem_mcal, hay.tdn) - lb * hay.tdn / 100
        return found

    def with_feeds(self, hay: Hay) -> Amounts:
        """What is short, and the pounds of each feed that make up for it."""
        found = dict(self.lacks(hay))
        brings = {feed.key: brought(feed, hay, self.rates[feed.key], self.practice) for feed in self.feeds}
        for model in self.intakes_on(hay).models:
            # Where protein is fed they eat all they would, so the cap does not hold here.
            lack = lacking(self.need, hay, model.lb, self.practice)
            for key, each in brings.items():
                pounds = closed(lack, each).unclipped_lb
                if pounds is not None:
                    found[f"{key} {model.model}"] = pounds
        return found

    def amount(self, name: str, values: Amounts, half: Amounts, *, clip: bool) -> Amount | None:
        """The named amount with its ranges; None if there is none at the headline."""
        keys = [f"{name} {model.model}" for model in self.intakes.models]
        if keys[0] not in values:
            return None
        spans = [
            (values[key] - half.get(key, ZERO), values[key] + half.get(key, ZERO))
            for key in keys
            if key in values
        ]
        margin = half.get(keys[0])
        ends = (
            values[keys[0]],
            min(low for low, _ in spans),
            max(high for _, high in spans),
            None if margin is None else values[keys[0]] - margin,
            None if margin is None else values[keys[0]] + margin,
        )
        value, low, high, by_low, by_high = (None if e is None else max(e, ZERO) if clip else e for e in ends)
        assert value is not None and low is not None and high is not None
        return Amount(value, low, high, by_low, by_high)


def _supplies(work: _Work, values: Amounts, half: Amounts) -> tuple[Supply, ...]:
    needs = (
        ("energy", "Mcal NEm", work.need.nem_mcal),
        ("TDN", "lb", tdn_lb(work.need.nem_mcal, work.hay.tdn)),
        ("protein", "lb", work.need.cp_lb),
    )
    found = []
    for name, unit, need in needs:
        short = work.amount(name, values, half, clip=False)
        assert short is not None
        met = short.value <= _allowed(need, work.practice)
        found.append(Supply(name, unit, need, _supplied(need, short), short, met))
    return tuple(found)


def _supplied(need: Decimal, short: Amount) -> Amount:
    low, high = short.margin_low, short.margin_high
    return Amount(
        need - short.value,
        need - short.high,
        need - short.low,
        None if high is None else need - high,
        None if low is None else need - low,
    )


def _allowed(need: Decimal, practice: Practice) -> Decimal:
    return need * practice.number("shortfall_met") / 100


def _verdict(work: _Work, reasons: Sequence[Unfit]) -> str:
    """Without a reason against it ENOUGH where nothing is short by any way of reckoning, IF_EATEN where nothing is by
    the headline, else ADD.
    """
    if reasons:
        return NOT_THIS if any(one.whole for one in reasons) else NOT_ALONE
    values = work.lacks(work.hay)

    def met(model: str) -> bool:
        energy = values[f"energy {model}"] <= _allowed(work.need.nem_mcal, work.practice)
        return energy and values[f"protein {model}"] <= _allowed(work.need.cp_lb, work.practice)

    by_model = [met(one.model) for one in work.intakes.models]
    if all(by_model):
        return ENOUGH
    return IF_EATEN if by_model[0] else ADD


def _supplement(work: _Work, feed: Feed, values: Amounts, half: Amounts) -> Supplement:
    hay_lb, rate = work.intakes.headline, work.rates[feed.key]
    close = closing(work.need, work.hay, hay_lb, feed, rate, work.practice)
    spared = closing(work.need, work.hay, hay_lb, feed, ZERO, work.practice).dm_lb
    dm = work.amount(feed.key, values, half, clip=True)
    known = limits(work.animals, work.hay, hay_lb, (feed,), work.practice)
    rooms = [(limit, limit.alone()) for limit in known]
    most = max(min((room for _, room in rooms if room is not None), default=ZERO), ZERO)
    asked = dm.value if dm else None
    broken = tuple(limit for limit, room in rooms if room is not None and asked is not None and asked > room)
    binding = tuple(
        limit for limit, room in rooms if room is not None and asked is not None and asked and asked >= room
    )
    as_fed = None if dm is None else dm.times(100 / feed.dm)
    price = feed.cost_lb_dm
    diet = None if asked is None else _diet(work, feed, asked)
    return Supplement(
        feed=feed,
        driver=close.driver,
        r=rate,
        dm_lb=dm,
        as_fed=as_fed,
        as_fed_spared=None if spared is None else feed.as_fed(spared),
        most_as_fed=feed.as_fed(most),
        limits=binding,
        safe=dm is not None and not broken,
        cost=None if dm is None or price is None else dm.times(price),
        diet_cp=diet.cp if diet else None,
        diet_tdn=diet.tdn if diet else None,
        cautions=say.feed_cautions(feed, work.animals, diet.fat if diet and asked else None, work.practice),
        words=say.supplement_words(feed, as_fed, close.driver, feed.as_fed(most), broken),
    )


@dataclass(frozen=True)
class _Diet:
    """Hay and feeds together, % of dry matter; degradable_short: lb of degradable protein that is lacking."""

    cp: Decimal
    tdn: Decimal
    fat: Decimal
    degradable_short: Decimal


def _diet(work: _Work, feed: Feed, dm_lb: Decimal) -> _Diet:
    return _diet_of(work, ((feed, dm_lb),), work.intakes.headline - work.rates[feed.key] * dm_lb)


def _diet_of(work: _Work, parts: tuple[tuple[Feed, Decimal], ...], hay_lb: Decimal) -> _Diet:
    hay, practice = work.hay, work.practice
    # A feed over every limit can leave no hay at all; its diet is still a mean of what is eaten.
    hay_lb = max(hay_lb, ZERO)
    whole = hay_lb + sum((lb for _, lb in parts), ZERO)
    fat = practice.number("hay_fat") if hay.fat is None else hay.fat
    tdn = (hay_lb * hay.tdn + sum((lb * feed.tdn for feed, lb in parts), ZERO)) / whole
    degraded = hay_lb * hay.cp * practice.number("degradable_share") / 10_000
    degraded += sum((lb * feed.cp * feed.degradable / 10_000 for feed, lb in parts), ZERO)
    return _Diet(
        cp=(hay_lb * hay.cp + sum((lb * feed.cp for feed, lb in parts), ZERO)) / whole,
        tdn=tdn,
        fat=(hay_lb * fat + sum((lb * feed.fat for feed, lb in parts), ZERO)) / whole,
        # 13 g of microbial protein for 100 g of TDN: NRC 1996 p. 17; an average, not a constant.
        degradable_short=Decimal("0.13") * whole * tdn / 100 - degraded,
    )


def _ranked(found: Iterable[Supplement]) -> tuple[Supplement, ...]:
    """Safe ones first, then by cost (where none is asked for, by what it may come to), then by weight and name."""
    far = Decimal(10**6)

    def order(one: Supplement) -> tuple[bool, Decimal, Decimal, Decimal, str]:
        cost, most = (one.cost.value, one.cost.high) if one.cost else (far, far)
        return not one.safe, cost, most, one.as_fed.value if one.as_fed else far, one.feed.name

    return tuple(sorted(found, key=order))


def _mixes(work: _Work) -> tuple[Mix | None, Mix | None]:
    """The best of one or two feeds, and the best single; by cost where there are prices, else by weight."""
    given = (work.animals, work.need, work.hay, work.intakes.headline, work.feeds, work.practice)
    worth = work.practice.number("second_feed_saves")
    for find in (partial(cheapest, worth=worth), lightest):
        both = find(*given)
        if both is not None:
            return both, both if len(both.parts) == 1 else find(*given, at_most=1)
    return None, None


def _cost(work: _Work, mix: Mix | None, supplements: tuple[Supplement, ...]) -> Amount | None:
    """What the mix costs a head and day; of two feeds the range is over the ways of reckoning intake alone."""
    if mix is None or mix.cost is None:
        return None
    if len(mix.parts) == 1:
        return next(one.cost for one in supplements if one.feed == mix.parts[0].feed)
    others = [
        cheapest(work.animals, work.need, work.hay, model.lb, work.feeds, work.practice)
        for model in work.intakes.models[1:]
    ]
    costs = [mix.cost, *(other.cost for other in others if other is not None and other.cost is not None)]
    return Amount(mix.cost, min(costs), max(costs))


def _what_to_add(verdict: str, intakes: Intakes, mix: Mix | None, supplements: tuple[Supplement, ...]) -> str:
    if verdict in (NOT_THIS, NOT_ALONE):
        return say.OTHER_HAY if verdict == NOT_THIS else say.IN_PART
    if verdict == ENOUGH:
        return say.NOTHING
    if verdict == IF_EATEN:
        fit = [one for one in supplements if one.as_fed is not None and one.as_fed.high <= one.most_as_fed]
        first = fit[0] if fit else None
        return say.maybe_words(intakes, first.feed.name if first else None, first.as_fed if first else None)
    if mix is None:
        return "No supplements are listed, so none can be named. Ask your county extension office."
    single = len(mix.parts) == 1
    found = next((one for one in supplements if one.feed == mix.parts[0].feed), None)
    if found is None or not single:
        return say.add_words(mix, None, None)
    return say.add_words(mix, found.as_fed, found.most_as_fed)


def _warnings(work: _Work, verdict: str, mix: Mix | None) -> tuple[str, ...]:
    first = protein_first(work.hay, work.practice)
    found = say.warnings(work.animals, work.hay, work.need, first, work.practice)
    if verdict != ADD:
        return found
    parts = tuple((part.feed, part.dm_lb) for part in mix.parts) if mix else ()
    lacking = _diet_of(work, parts, mix.hay_lb if mix else work.intakes.headline).degradable_short
    return (*found, say.degradable_words(lacking)) if lacking > Decimal("0.05") else found
