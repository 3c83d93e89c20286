"""The programme's figures reckoned plainly: every event, standing and number of the season read, and counted here.

What the program keeps and asks the database for is held against this; it would take a state's season half a minute.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from tracker.domain.coring import CoringPlan
from tracker.domain.quantiles import may_be_shown, quantile, spread
from tracker.domain.turnaround import ranked
from tracker.domain.units import to_places
from tracker.domain.way import WAITING, waits_for
from tracker.lookups.hay_of_year import ALL, EARLIER, QUALITIES, Group
from tracker.lookups.programme.samples import AGES
from tracker.storage.coring import Plan, Sample
from tracker.storage.custody import DONE, EventRow, StandingRow
from tracker.storage.intake import Weighing, weighings_in_force_of
from tracker.storage.kept import practice_in_force
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer
from tracker.storage.released import ReleasedValue
from tracker.storage.results import ReportVersion

# Name, value and the words beside it.
Told = tuple[str, object, str]
LABELS = ("unlabelled", "tag unreadable", "tag void or unknown", "two tags on a bag")


def figures(session: Session, season: int, now: datetime) -> set[Told]:
    """Every figure of the season's samples that is counted and not nothing."""
    return {
        *_stations(session, season, now),
        *_late_and_lost(session, season, now),
        *_turnaround(session, season),
        *_labels(session, season),
        *_sampling(session, season),
        *_reweighed(session, season),
    }


def _standings(session: Session, season: int) -> list[StandingRow]:
    wanted = select(StandingRow).join(Sample, Sample.id == StandingRow.sample_id).join(Lot)
    return list(session.scalars(wanted.where(Lot.season == season)))


def _waiting(session: Session, season: int) -> list[StandingRow]:
    return [
        row
        for row in _standings(session, season)
        if (row.state not in DONE or row.hold) and waits_for(row.state, row.hold)
    ]


def _stations(session: Session, season: int, now: datetime) -> Iterable[Told]:
    ages: Counter[tuple[str | None, str]] = Counter()
    for row in _waiting(session, season):
        days = (now - row.last_at) / timedelta(days=1)
        words = next(words for most, words in AGES if most is None or days < most + 1)
        ages[(waits_for(row.state, row.hold), words)] += 1
    for what in WAITING:
        told = [f"{ages[(what, words)]} for {words}" for _, words in AGES if ages[(what, words)]]
        if told:
            yield f"wait for {what}", sum(ages[(what, words)] for _, words in AGES), ", ".join(told)


def _late_and_lost(session: Session, season: int, now: datetime) -> Iterable[Told]:
    days = practice_in_force(session).number("late_days")
    late = [row for row in _waiting(session, season) if now - row.last_at > timedelta(days=float(days))]
    yield "late", len(late), f"nothing happened for over {days} days"
    yield "lost", sum(row.state == "lost" for row in _standings(session, season)), "said to be lost"


def _events(session: Session, season: int, *kinds: str) -> list[EventRow]:
    wanted = select(EventRow).join(Lot, Lot.id == EventRow.lot_id).where(Lot.season == season)
    return list(session.scalars(wanted.where(EventRow.kind.in_(kinds)).order_by(EventRow.seq)))


def _turnaround(session: Session, season: int) -> Iterable[Told]:
    first = select(ReportVersion.sample_id, ReportVersion.issued_at).where(ReportVersion.version == 1)
    reported = {row.sample_id: row.issued_at for row in session.execute(first)}
    for name, kind in (("coring", "cored"), ("receipt", "received")):
        begun: dict[int, datetime] = {}
        for event in sorted(_events(session, season, kind), key=lambda one: one.occurred_at, reverse=True):
            if event.sample_id is not None and (kind == "cored" or event.role != "technician"):
                begun[event.sample_id] = event.occurred_at
        spans = [reported[sample] - at for sample, at in begun.items() if sample in reported]
        for percent, words in ((50, "median"), (90, "90th centile")):
            value = None
            if spans:
                value = to_places(Decimal(int(ranked(spans, percent).total_seconds())) / 86_400, 1)
            yield f"from {name} to report, {words}", value, f"{words} of {len(spans)} samples"


def _labels(session: Session, season: int) -> Iterable[Told]:
    bags = len(_events(session, season, "bagged"))
    wrong = len(_events(session, season, "tag replaced", "tag contested"))
    for event in _events(session, season, "received", "transfer refused"):
        wrong += event.data.get("reason") in LABELS or "label damaged" in (event.data.get("condition") or ())
    rate = to_places(Decimal(1000 * wrong) / bags, 1) if bags else None
    yield "label errors", rate, f"{wrong} in {bags} bags"


def _sampling(session: Session, season: int) -> Iterable[Told]:
    plans = {(row.sample_id, row.version): row.body for row in session.scalars(select(Plan))}
    found = [
        (CoringPlan.from_dict(plans[(event.sample_id or 0, int(event.data["plan"]))]), event.data)
        for event in _events(session, season, "cored")
    ]
    words = f"of {len(found)} samples cored"
    cores = sorted(Decimal(data["cores_taken"]) for _, data in found)
    margins = sorted(plan.cp_margin for plan, _ in found if plan.cp_margin)
    yield "cores taken, median", _middle(cores, 0), words
    yield (
        "fewer cores than planned",
        sum(int(data["cores_taken"]) < plan.cores for plan, data in found),
        words,
    )
    yield "another entry than planned", sum(data["entry"] != plan.entry for plan, data in found), words
    yield "cored otherwise than planned", sum(bool(data.get("deviations")) for _, data in found), words
    yield "margin of CP to be expected, median", _middle(margins, 1), words


def _middle(ordered: Sequence[Decimal], places: int) -> Decimal | None:
    return to_places(quantile(ordered, Decimal("0.5")), places) if ordered else None


def _reweighed(session: Session, season: int) -> Iterable[Told]:
    limit = practice_in_force(session).number("constant_mass")
    ours = select(Sample.id).join(Lot).where(Lot.season == season)
    weighed: dict[int, dict[str, Weighing]] = {}
    for row in weighings_in_force_of(session, list(session.scalars(ours))):
        weighed.setdefault(row.sample_id, {})[row.what] = row
    twice = [mine for mine in weighed.values() if {"dry", "dry again"} <= set(mine)]
    apart = sorted(abs(mine["dry again"].grams - mine["dry"].grams) for mine in twice)
    far = 0
    for mine in twice:
        tare = mine["tare"].grams if "tare" in mine and not mine["fresh"].zeroed else Decimal(0)
        hay = mine["fresh"].grams - tare
        far += 100 * abs(mine["dry again"].grams - mine["dry"].grams) > limit * hay
    yield "weighed dry twice", len(twice), ""
    yield "apart, median", _middle(apart, 2), ""
    yield "apart, greatest", apart[-1] if apart else None, ""
    yield "too far apart", far, f"by over {limit} % of the hay as it came"


def hay_groups(session: Session, season: int, by: str) -> dict[str, list[Group]]:
    """The groups of each quality, from every number of every lot's newest report."""
    names = {
        "forage": lambda lot, place: lot.forage,
        "cutting": lambda lot, place: f"cutting {lot.cutting}",
        "area": lambda lot, place: place or "area not given",
    }
    newest = select(func.max(Sample.id)).where(Sample.id.in_(select(ReleasedValue.sample_id)))
    wanted: Any = (
        select(ReleasedValue.code, ReleasedValue.value, Lot, Field.producer_id, Producer.place)
        .join(Sample, Sample.id == ReleasedValue.sample_id)
        .join(Lot, Lot.id == Sample.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(Sample.id.in_(newest.group_by(Sample.lot_id)), Lot.season.between(season - EARLIER, season))
    )
    found: dict[str, list[Group]] = {one.key: [] for one in QUALITIES}
    lots: dict[tuple[str, str, int], list[tuple[Decimal, int]]] = defaultdict(list)
    for code, value, lot, producer, place in session.execute(wanted):
        for name in (ALL, names[by](lot, place)):
            lots[(name, code, lot.season)].append((value, producer))
    for name, code, year in sorted(lots, key=lambda key: (key[0] != ALL, key[0], key[1], -key[2])):
        group = lots[(name, code, year)]
        largest = [count for _, count in Counter(producer for _, producer in group).most_common(3)]
        shown = spread([value for value, _ in group]) if may_be_shown(len(group), largest) else None
        for quality in QUALITIES:
            if code in quality.codes:
                found[quality.key].append(Group(name, year, code if len(quality.codes) > 1 else "", shown))
    return found
