"""The hay of a season, how good it was by forage, cutting and area, beside the seasons before; nobody's own lot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from tracker.domain.analysis import CONSTITUENTS
from tracker.domain.quantiles import LEAST_PRODUCERS, Counted, Spread, may_be_shown, spread_of
from tracker.storage import hay_counts
from tracker.storage.hay_counts import TOTAL_DM, HayCount, HayShare

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


# By what lots are grouped, and how the groups of each are called.
GROUPINGS: dict[str, Callable[[str], str]] = {
    hay_counts.FORAGE: lambda name: name,
    hay_counts.CUTTING: lambda name: f"cutting {name}",
    hay_counts.AREA: lambda name: name or "area not given",
}
Key = tuple[str, str, int]


def hay_of_year(session: Session, season: int, by: str = "forage") -> Year:
    """The spread of each quality in the season and up to four before it; a lot counts once, by its newest report.

    by: one of GROUPINGS.
    """
    seasons = (season - EARLIER, season)
    counted, largest = _counted(session, seasons, by), _largest(session, seasons, by)
    found = {
        one.key: tuple(_group(one, key, counted[key], largest[key]) for key in _ordered(counted, one))
        for one in QUALITIES
    }
    return Year(season, by, _reported(session, season), found)


def _reported(session: Session, season: int) -> int:
    wanted = select(HayCount.lots).where(
        HayCount.grouped == hay_counts.ALL, HayCount.season == season, HayCount.code == hay_counts.ANY
    )
    return session.scalar(wanted) or 0


def _counted(session: Session, seasons: tuple[int, int], by: str) -> dict[Key, Counted]:
    """The values of each group, by its name, the code and the season."""
    wanted = select(
        HayCount.grouped, HayCount.name, HayCount.code, HayCount.season, HayCount.value, HayCount.lots
    ).where(*_asked(HayCount, seasons, by))
    values: dict[Key, list[tuple[Decimal, int]]] = defaultdict(list)
    for grouped, name, code, season, value, lots in session.execute(wanted):
        values[(_named(grouped, name), code, season)].append((Decimal(value), lots))
    return {key: Counted(counts) for key, counts in values.items()}


def _largest(session: Session, seasons: tuple[int, int], by: str) -> dict[Key, list[int]]:
    """How many lots those producers have who have most of each group."""
    groups = (
        select(HayCount.grouped, HayCount.name, HayCount.code, HayCount.season)
        .where(*_asked(HayCount, seasons, by))
        .distinct()
        .subquery()
    )
    same = [getattr(HayShare, column.name) == column for column in groups.columns]
    ranked = select(HayShare.lots).where(*same).order_by(HayShare.lots.desc()).limit(1)
    wanted = select(groups, *(ranked.offset(rank).scalar_subquery() for rank in range(LEAST_PRODUCERS)))
    return {
        (_named(grouped, name), code, season): [lots for lots in largest if lots]
        for grouped, name, code, season, *largest in session.execute(wanted)
    }


def _asked(row: type[HayCount], seasons: tuple[int, int], by: str) -> tuple[ColumnElement[bool], ...]:
    # Who was taken out of a group leaves nothing there but the row.
    return (row.grouped.in_([hay_counts.ALL, by]), row.season.between(*seasons), row.code != "", row.lots > 0)


def _named(grouped: str, name: str) -> str:
    return ALL if grouped == hay_counts.ALL else GROUPINGS[grouped](name)


def _ordered(known: Iterable[Key], quality: Quality) -> list[Key]:
    ours = [key for key in known if key[1] in quality.codes]
    return sorted(ours, key=lambda key: (key[0] != ALL, key[0], key[1], -key[2]))


def _group(quality: Quality, key: Key, values: Counted, largest: list[int]) -> Group:
    name, code, season = key
    formula = code if len(quality.codes) > 1 else ""
    return Group(name, season, formula, spread_of(values) if may_be_shown(len(values), largest) else None)
