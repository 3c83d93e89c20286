"""The hay of a season, how good it was by forage, cutting and area, beside the seasons before; nobody's own lot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.quantiles import Spread, may_be_shown, spread
from tracker.lookups.exports.table import read
from tracker.storage.coring import Sample
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.released import TOTAL_DM, ReleasedValue

EARLIER = 4
ALL = "all hay"


@dataclass(frozen=True)
class Quality:
    """One thing hay is judged by. codes: what reports call it, by formula; unit: with its basis."""

    key: str
    name: str
    codes: tuple[str, ...]
    unit: str
    decimals: int


QUALITIES = (
    Quality("DM", "dry matter", (TOTAL_DM,), "% as received", 1),
    Quality("CP", CONSTITUENTS["CP"].name, ("CP",), "% of dry matter", 1),
    Quality("NDF", CONSTITUENTS["NDF"].name, ("NDF",), "% of dry matter", 1),
    Quality(
        "TDN",
        "total digestible nutrients",
        ("TDN-sum", "TDN-ADF-alfalfa", "TDN-ADF-hay"),
        "% of dry matter",
        1,
    ),
    Quality("RFQ", "relative forage quality", ("RFQ",), "index", 0),
)


@dataclass(frozen=True)
class Group:
    """One group of lots in one season. formula: the code, where formulas differ and must not be mixed.

    spread is None where the group is too small to be shown; then its count is not told either.
    """

    name: str
    season: int
    formula: str
    spread: Spread | None


@dataclass(frozen=True)
class Year:
    """groups of the season and of those before it, by quality; lots: how many have a report in the season."""

    season: int
    by: str
    lots: int
    groups: Mapping[str, tuple[Group, ...]]


@dataclass(frozen=True)
class _Number:
    code: str
    value: Decimal
    producer: int
    season: int
    forage: str
    cutting: int
    area: str


By = Callable[[_Number], str]
GROUPINGS: dict[str, By] = {
    "forage": lambda one: one.forage,
    "cutting": lambda one: f"cutting {one.cutting}",
    "area": lambda one: one.area or "area not given",
}


def hay_of_year(session: Session, season: int, by: str = "forage") -> Year:
    """The spread of each quality in the season and up to four before it; a lot counts once, by its newest report.

    by: one of GROUPINGS.
    """
    grouping = GROUPINGS[by]
    numbers = list(_numbers(session, range(season - EARLIER, season + 1)))
    found = {one.key: tuple(_groups(one, numbers, grouping)) for one in QUALITIES}
    return Year(season, by, _reported(session, season), found)


def _reported(session: Session, season: int) -> int:
    wanted = (
        select(func.count(Sample.lot_id.distinct()))
        .join(Lot, Lot.id == Sample.lot_id)
        .where(Lot.season == season, Sample.id.in_(select(ReleasedValue.sample_id)))
    )
    return session.scalar(wanted) or 0


def _numbers(session: Session, seasons: Iterable[int]) -> Iterable[_Number]:
    codes = {code for one in QUALITIES for code in one.codes}
    # A lot that was sampled again counts by its newest sample that has a report.
    newest = (
        select(func.max(Sample.id))
        .where(Sample.id.in_(select(ReleasedValue.sample_id)))
        .group_by(Sample.lot_id)
    )
    wanted: Any = (
        select(
            ReleasedValue.code,
            ReleasedValue.value,
            Field.producer_id,
            Lot.season,
            Lot.forage,
            Lot.cutting,
            Producer.place,
        )
        .join(Sample, Sample.id == ReleasedValue.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(ReleasedValue.code.in_(codes), Lot.season.in_(list(seasons)), Sample.id.in_(newest))
    )
    return (_Number(*row) for row in read(session, wanted))


def _groups(quality: Quality, numbers: Iterable[_Number], grouping: By) -> Iterable[Group]:
    lots: dict[tuple[str, str, int], list[_Number]] = defaultdict(list)
    for one in numbers:
        if one.code in quality.codes:
            lots[(grouping(one), one.code, one.season)].append(one)
            lots[(ALL, one.code, one.season)].append(one)
    for name, code, season in sorted(lots, key=lambda key: (key[0] != ALL, key[0], key[1], -key[2])):
        group = lots[(name, code, season)]
        shown = may_be_shown([one.producer for one in group])
        formula = code if len(quality.codes) > 1 else ""
        yield Group(name, season, formula, spread([one.value for one in group]) if shown else None)
