"""A producer's season: his lots with a released report, his groups, and lots that others offer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain.feed import Feed
from tracker.domain.hay import checked_hay
from tracker.domain.herd import Group
from tracker.domain.lot import bale_pounds, mass_is_assumed
from tracker.domain.practice import Practice
from tracker.domain.season import Month, Progress, SeasonPlan, Stack, months_from, plan_season
from tracker.domain.season_kept import Question, rests_on, told
from tracker.errors import NotFound, Refused
from tracker.lookups.feeding_answer import cautions_in, hay_of, released_body
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.groups import groups_of
from tracker.lookups.lots import lots
from tracker.settings import program_version
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import facts_of, lot_numbered
from tracker.storage.people import producer_named

NO_OFFERS: Mapping[int, Decimal] = {}


@dataclass(frozen=True)
class Season:
    """All that a producer's plan rests on; left_out: lots it cannot be made with, and why; assumed: not weighed."""

    producer: str
    months: tuple[Month, ...]
    stacks: tuple[Stack, ...]
    groups: tuple[Group, ...]
    feeds: tuple[Feed, ...]
    practice: Practice
    left_out: tuple[tuple[int, str], ...]
    assumed: tuple[int, ...]

    @property
    def rests_on(self) -> dict[str, dict[str, dict[str, Any]]]:
        """Every input of it as plain values."""
        return rests_on(self.stacks, self.groups, self.feeds, self.practice, program_version())

    def told(self, plan: SeasonPlan) -> dict[str, Any]:
        """A plan of this season as plain values."""
        return told(plan, self.left_out, self.assumed)

    def answer(self, question: Question, *, progress: Progress | None = None) -> SeasonPlan:
        """The plan as it was asked for. Raises as plan."""
        return self.plan(waste=question.waste, one_lot=question.one_lot, progress=progress)

    def plan(
        self, *, waste: Decimal | None = None, one_lot: bool = False, progress: Progress | None = None
    ) -> SeasonPlan:
        """The plan; takes seconds, and no database. Raises what domain.season.plan_season raises."""
        given = (self.stacks, self.groups, self.months, self.feeds, self.practice)
        return plan_season(*given, waste=waste, one_lot=one_lot, progress=progress)


def season_asked(session: Session, producer: str, question: Question) -> Season:
    """The season that a question is about. Raises as season_of."""
    return season_of(session, producer, question.first, question.months, question.offers)


def season_of(
    session: Session, producer: str, first: date, months: int, offers: Mapping[int, Decimal] = NO_OFFERS
) -> Season:
    """The season from that day on. offers: lots of others, with $ a short ton as baled.

    Raises NotFound `unknown-producer`, `unknown-lot`, Refused `lot-not-offered`, `not-a-season`.
    """
    producer_named(session, producer)
    wanted = months_from(first, months)
    own = [line.lot for line in lots(session) if line.producer == producer]
    _check_offers(session, producer, own, offers)
    stacks: list[Stack] = []
    left_out: list[tuple[int, str]] = []
    for lot in sorted({*own, *offers}):
        try:
            stacks.append(_stack(session, lot, offers.get(lot)))
        except (NotFound, Refused) as unfit:
            left_out.append((lot, unfit.message))
    weighed = {stack.lot: facts_of(lot_numbered(session, stack.lot)) for stack in stacks}
    return Season(
        producer=producer,
        months=wanted,
        stacks=tuple(stacks),
        groups=tuple(line.group for line in groups_of(session, producer)),
        feeds=feeds_in_force(session),
        practice=practice_in_force(session),
        left_out=tuple(left_out),
        assumed=tuple(lot for lot, facts in weighed.items() if mass_is_assumed(facts)),
    )


def _check_offers(session: Session, producer: str, own: Sequence[int], offers: Mapping[int, Decimal]) -> None:
    for lot in offers:
        lot_numbered(session, lot)
        if lot in own:
            raise Refused(
                "lot-not-offered",
                f"Lot {lot} is {producer}'s own and needs no price.",
                field="offer",
                remedy="Give a price for lots of others only.",
            )


def _stack(session: Session, number: int, price: Decimal | None) -> Stack:
    row = lot_numbered(session, number)
    facts, body = facts_of(row), released_body(session, number)
    return Stack(
        lot=number,
        name=f"{row.field.name}, cutting {row.cutting}",
        hay=checked_hay(hay_of(body)),
        bales=facts.bale_count,
        bale_lb=bale_pounds(facts),
        storage=facts.storage,
        harvested=facts.harvest_date,
        cautions=cautions_in(body, practice_in_force(session)),
        price_ton=price,
    )
