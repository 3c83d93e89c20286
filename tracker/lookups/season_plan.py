"""A producer's season: his lots with a released report, his groups, and lots that others offer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from tracker.domain.hay import checked_hay
from tracker.domain.lot import bale_pounds, mass_is_assumed
from tracker.domain.season import Progress, SeasonPlan, Stack, months_from, plan_season
from tracker.errors import NotFound, Refused
from tracker.lookups.feeding_answer import cautions_in, hay_of, released_body
from tracker.lookups.feeds import feeds_in_force
from tracker.lookups.groups import groups_of
from tracker.lookups.lots import lots
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import facts_of, lot_numbered
from tracker.storage.people import producer_named

NO_OFFERS: Mapping[int, Decimal] = {}


@dataclass(frozen=True)
class Season:
    """The plan of one producer; left_out: lots that no plan can be made with, and why; assumed: lots not weighed."""

    producer: str
    plan: SeasonPlan
    left_out: tuple[tuple[int, str], ...]
    assumed: tuple[int, ...]


def season_of(
    session: Session,
    producer: str,
    first: date,
    months: int,
    *,
    offers: Mapping[int, Decimal] = NO_OFFERS,
    waste: Decimal | None = None,
    one_lot: bool = False,
    progress: Progress | None = None,
) -> Season:
    """The season from that day on. offers: lots of others, with $ a short ton as baled.

    Raises NotFound `unknown-producer`, `unknown-lot`, Refused `lot-not-offered`, and what domain.season raises.
    """
    producer_named(session, producer)
    practice = practice_in_force(session)
    wanted = months_from(first, months)
    own = [line.lot for line in lots(session) if line.producer == producer]
    for lot in offers:
        lot_numbered(session, lot)
        if lot in own:
            raise Refused(
                "lot-not-offered",
                f"Lot {lot} is {producer}'s own and needs no price.",
                field="offer",
                remedy="Give a price for lots of others only.",
            )
    stacks: list[Stack] = []
    left_out: list[tuple[int, str]] = []
    assumed: list[int] = []
    for lot in sorted({*own, *offers}):
        try:
            stacks.append(_stack(session, lot, offers.get(lot)))
        except (NotFound, Refused) as unfit:
            left_out.append((lot, unfit.message))
            continue
        if mass_is_assumed(facts_of(lot_numbered(session, lot))):
            assumed.append(lot)
    plan = plan_season(
        stacks,
        [line.group for line in groups_of(session, producer)],
        wanted,
        feeds_in_force(session),
        practice,
        one_lot=one_lot,
        waste=waste,
        progress=progress,
    )
    return Season(producer, plan, tuple(left_out), tuple(assumed))


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
