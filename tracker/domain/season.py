"""A season of feeding: lots of hay, groups of animals and months, from the bales in the barn to the plan.

For each lot, group and month the feeding answer is asked in the middle of the month: how much hay is eaten, and the
cheapest supplement beside it. Then the hay is shared out (season_plan). What is lost in storing and in feeding is a
loss of its own and never eaten: of 100 lb baled, (100 - storing) x (1 - feeding) are eaten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from tracker.domain.animals import Animals
from tracker.domain.cautions import Caution
from tracker.domain.feed import Feed
from tracker.domain.fitness import unfit
from tracker.domain.hay import Hay, checked_hay
from tracker.domain.hay_eaten import eaten
from tracker.domain.herd import Group, animals_on
from tracker.domain.least_cost import Mix, cheapest
from tracker.domain.needs import need_of
from tracker.domain.practice import COMMON, Practice
from tracker.domain.season_plan import Allocation, Choice, allocate
from tracker.domain.storage_rules import MONTHS, rule_of
from tracker.domain.units import POUNDS_PER_SHORT_TON
from tracker.errors import Refused

MOST_MONTHS = 12
# Beyond this nobody has measured, and little is left to plan with.
MOST_LOST = Decimal(50)
DAYS_IN_A_MONTH = Decimal("30.44")
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Month:
    """One month of the plan, or what is left of its first."""

    first: date
    days: int

    @property
    def name(self) -> str:
        return f"{self.first:%b %Y}"

    @property
    def middle(self) -> date:
        return self.first + timedelta(days=self.days // 2)


def months_from(first: date, count: int) -> tuple[Month, ...]:
    """So many months from this day on, each to its end. Raises Refused `not-a-season`."""
    if not 1 <= count <= MOST_MONTHS:
        raise Refused(
            "not-a-season",
            f"{count} months are no season to plan.",
            field="months",
            remedy=f"Plan 1 to {MOST_MONTHS} months.",
        )
    found = []
    for _ in range(count):
        after = date(first.year + first.month // 12, first.month % 12 + 1, 1)
        found.append(Month(first, (after - first).days))
        first = after
    return tuple(found)


@dataclass(frozen=True)
class Stack:
    """A lot as it lies in store. bale_lb as baled; price_ton: $ a ton as baled, None for the producer's own."""

    lot: int
    name: str
    hay: Hay
    bales: int
    bale_lb: Decimal
    storage: str
    harvested: date
    cautions: tuple[Caution, ...] = ()
    price_ton: Decimal | None = None

    @property
    def tons(self) -> Decimal:
        """Short tons as baled."""
        return self.bales * self.bale_lb / POUNDS_PER_SHORT_TON

    def lost_in_store(self, on: date, practice: Practice = COMMON) -> Decimal:
        """% of the dry matter lost by then: the rule's share of nine months, in proportion to the days."""
        days = max((on - self.harvested).days, 0)
        share = practice.number(rule_of(self.storage)) * days / (MONTHS * DAYS_IN_A_MONTH)
        return min(share, MOST_LOST)


@dataclass(frozen=True)
class Daily:
    """One group on one lot in one month: for a head and day the hay eaten (lb dry) and the supplement beside it.

    stored, fed: % lost in storing by then, and in feeding; why_not: why it may not be fed, else empty.
    """

    stack: Stack
    group: Group
    month: Month
    animals: Animals
    hay_lb: Decimal
    mix: Mix | None
    stored: Decimal
    fed: Decimal
    why_not: str = ""

    @property
    def head_days(self) -> int:
        return self.group.head * self.month.days

    @property
    def tons(self) -> Decimal:
        """Tons as baled that the whole month takes from the lot."""
        kept = (1 - self.stored / 100) * (1 - self.fed / 100)
        eaten_lb = self.head_days * self.hay_lb / (self.stack.hay.dm / 100)
        return eaten_lb / kept / POUNDS_PER_SHORT_TON

    @property
    def supplement_cost(self) -> Decimal:
        """$ of the whole month."""
        return Decimal(0) if self.mix is None else self.head_days * (self.mix.cost or Decimal(0))

    @property
    def hay_cost(self) -> Decimal:
        """$ of the whole month for hay that is bought."""
        return self.tons * (self.stack.price_ton or Decimal(0))


@dataclass(frozen=True)
class Feeding:
    """A share of a month that a group spends on a lot; amounts are of that share. tons and bales as baled."""

    daily: Daily
    share: Decimal

    @property
    def tons(self) -> Decimal:
        return self.share * self.daily.tons

    @property
    def bales(self) -> Decimal:
        return self.tons * POUNDS_PER_SHORT_TON / self.daily.stack.bale_lb

    @property
    def supplement_cost(self) -> Decimal:
        return self.share * self.daily.supplement_cost

    @property
    def hay_cost(self) -> Decimal:
        return self.share * self.daily.hay_cost

    @property
    def lost_in_store(self) -> Decimal:
        """Tons, as baled."""
        return self.tons * self.daily.stored / 100

    @property
    def lost_in_feeding(self) -> Decimal:
        return (self.tons - self.lost_in_store) * self.daily.fed / 100


@dataclass(frozen=True)
class LotUse:
    """Where a lot's tons go, as baled. worth: $ that one more ton would save; None with one lot a month."""

    stack: Stack
    eaten: Decimal
    lost_in_store: Decimal
    lost_in_feeding: Decimal
    left: Decimal
    worth: Decimal | None
    worth_short: Decimal | None


@dataclass(frozen=True)
class Short:
    """A share of a month for which a group has no hay; tons: to put out, wasted ones in them."""

    group: Group
    month: Month
    share: Decimal
    tons: Decimal


@dataclass(frozen=True)
class SeasonPlan:
    """The plan with all it rests on. supplement_cost, hay_cost: $ in all; barred: what is not for whom, and why."""

    months: tuple[Month, ...]
    groups: tuple[Group, ...]
    stacks: tuple[Stack, ...]
    one_lot: bool
    feedings: tuple[Feeding, ...]
    short: tuple[Short, ...]
    lots: tuple[LotUse, ...]
    barred: tuple[Daily, ...]
    supplement_cost: Decimal
    hay_cost: Decimal
    short_tons: Decimal

    def of(self, group: Group, month: Month) -> tuple[Feeding, ...]:
        """What the group eats in that month, the largest share first."""
        found = [one for one in self.feedings if (one.daily.group, one.daily.month) == (group, month)]
        return tuple(sorted(found, key=lambda one: (-one.share, one.daily.stack.lot)))


def plan_season(
    stacks: Sequence[Stack],
    groups: Sequence[Group],
    months: Sequence[Month],
    feeds: Sequence[Feed],
    practice: Practice = COMMON,
    *,
    one_lot: bool = False,
    waste: Decimal | None = None,
    progress: Progress | None = None,
) -> SeasonPlan:
    """The plan of a season. waste: % of the hay put out that is not eaten, else the programme's usual.

    Raises Refused `nothing-to-plan`, `no-prices`, and what season_plan.allocate raises.
    """
    _check(stacks, groups, feeds)
    fed = practice.number("feeding_waste") if waste is None else waste
    known: dict[tuple[int, Animals], tuple[Decimal, Mix | None, str]] = {}
    dailies: list[Daily] = []
    total = len(stacks) * len(groups) * len(months)
    for stack in stacks:
        for group in groups:
            for month in months:
                dailies.append(_daily(stack, group, month, feeds, practice, fed, known))
                if progress is not None:
                    progress(len(dailies), total)
    table = {(one.stack.lot, one.group.name, _place(months, one.month)): one for one in dailies}
    choices = [
        Choice(*key, one.tons, one.supplement_cost + one.hay_cost)
        for key, one in table.items()
        if not one.why_not
    ]
    wanted = {
        (group.name, place): _usual([one for key, one in table.items() if key[1:] == (group.name, place)])
        for group in groups
        for place in range(len(months))
    }
    found = allocate(choices, {stack.lot: stack.tons for stack in stacks}, wanted, one_lot=one_lot)
    return _plan(stacks, groups, months, one_lot, table, wanted, found)


def _check(stacks: Sequence[Stack], groups: Sequence[Group], feeds: Sequence[Feed]) -> None:
    if not stacks or not groups:
        raise Refused(
            "nothing-to-plan",
            f"There are {len(stacks)} lots with a released report and {len(groups)} groups of animals.",
            field="lots" if not stacks else "groups",
            remedy="Release the reports of the lots, and put down the groups: `tracker keep-group`.",
        )
    if not any(feed.cost_lb_dm is not None for feed in feeds):
        raise Refused(
            "no-prices",
            "No supplement has a price, so no plan is cheaper than another.",
            field="feeds",
            remedy="Set what they cost where you buy: `tracker set-feed soybean-hulls price_ton=210`.",
        )


def _place(months: Sequence[Month], month: Month) -> int:
    return list(months).index(month)


def _daily(
    stack: Stack,
    group: Group,
    month: Month,
    feeds: Sequence[Feed],
    practice: Practice,
    fed: Decimal,
    known: dict[tuple[int, Animals], tuple[Decimal, Mix | None, str]],
) -> Daily:
    animals = animals_on(group, month.middle)
    if (stack.lot, animals) not in known:
        known[stack.lot, animals] = _answered(stack, animals, feeds, practice)
    hay_lb, mix, why_not = known[stack.lot, animals]
    if stack.harvested >= month.first and not why_not:
        why_not = "It is not made yet."
    stored = stack.lost_in_store(month.middle, practice)
    return Daily(stack, group, month, animals, hay_lb, mix, stored, fed, why_not)


def _answered(
    stack: Stack, animals: Animals, feeds: Sequence[Feed], practice: Practice
) -> tuple[Decimal, Mix | None, str]:
    """lb of hay eaten, the cheapest mix, and why it may not be fed."""
    hay = checked_hay(stack.hay)
    need, lb = need_of(animals), eaten(animals, hay, practice).headline
    reasons = unfit(animals, stack.cautions)
    if reasons:
        return lb, None, " ".join(reason.words for reason in reasons)
    worth = practice.number("second_feed_saves")
    mix = cheapest(
        animals, need, hay, lb, tuple(feed for feed in feeds if feed.offered), practice, worth=worth
    )
    if mix is None:
        return lb, None, "No one or two priced supplements make up for what it lacks within their limits."
    return mix.hay_lb, mix, ""


def _usual(dailies: Sequence[Daily]) -> Decimal:
    """The tons to put out for a group's month, as of the usual lot it may have; of all where it may have none.

    Hay bought for a gap comes when it is wanted: nothing of it is lost in store.
    """
    open_ = [one for one in dailies if not one.why_not] or dailies
    return sum((one.tons * (1 - one.stored / 100) for one in open_), Decimal(0)) / len(open_)


def _plan(
    stacks: Sequence[Stack],
    groups: Sequence[Group],
    months: Sequence[Month],
    one_lot: bool,
    table: Mapping[tuple[int, str, int], Daily],
    wanted: Mapping[tuple[str, int], Decimal],
    found: Allocation,
) -> SeasonPlan:
    feedings = tuple(
        Feeding(table[choice.lot, choice.group, choice.month], share)
        for choice, share in found.shares.items()
    )
    by_name = {group.name: group for group in groups}
    short = tuple(
        Short(by_name[name], months[place], share, share * wanted[name, place])
        for (name, place), share in found.unmet.items()
    )
    return SeasonPlan(
        months=tuple(months),
        groups=tuple(groups),
        stacks=tuple(stacks),
        one_lot=one_lot,
        feedings=feedings,
        short=short,
        lots=tuple(_use(stack, feedings, found) for stack in stacks),
        barred=tuple(one for one in table.values() if one.why_not),
        supplement_cost=sum((one.supplement_cost for one in feedings), Decimal(0)),
        hay_cost=sum((one.hay_cost for one in feedings), Decimal(0)),
        short_tons=found.short_tons,
    )


def _use(stack: Stack, feedings: Sequence[Feeding], found: Allocation) -> LotUse:
    mine = [one for one in feedings if one.daily.stack.lot == stack.lot]
    tons = sum((one.tons for one in mine), Decimal(0))
    stored = sum((one.lost_in_store for one in mine), Decimal(0))
    fed = sum((one.lost_in_feeding for one in mine), Decimal(0))
    worth = found.worth[stack.lot] if found.worth is not None else None
    worth_short = found.worth_short[stack.lot] if found.worth_short is not None else None
    return LotUse(
        stack, tons - stored - fed, stored, fed, max(stack.tons - tons, Decimal(0)), worth, worth_short
    )
