"""Errors of labels, and how well the lots were sampled."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.coring import CoringPlan
from tracker.domain.quantiles import Counted, quantile
from tracker.domain.receipt_reasons import label_error
from tracker.domain.units import to_places
from tracker.lookups.page import Page, page_of, rows_of
from tracker.lookups.programme.figure import Asked, Cells, Figure, Listing, Scope, hay_said, listing
from tracker.storage.coring import Plan
from tracker.storage.custody import EventRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names
from tracker.storage.tallies import CoringTally, LabelTally

HALF = Decimal("0.5")


def labels(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Bags, and errors of labels for each thousand of them."""
    bags, wrong = (_labels(session, scope, wrong) for wrong in (False, True))
    rate = to_places(Decimal(1000 * wrong) / bags, 1) if bags else None
    return (Figure("labels", "label errors", rate, "per 1,000 bags", f"{wrong} in {bags} bags"),)


def _labels(session: Session, scope: Scope, wrong: bool) -> int:
    wanted = select(func.count()).where(LabelTally.season == scope.season, LabelTally.wrong.is_(wrong))
    return session.scalar(wanted) or 0


def label_errors(session: Session, scope: Scope, asked: Asked) -> Listing:
    """Every tag that had to be replaced, was contested, or was found wrong at the desk."""
    names = party_names(session)

    def cells(row: EventRow) -> Cells:
        code = row.data.get("old_code") or row.data.get("code")
        what = label_error(row.kind, row.data)
        by = names.get(row.by, row.by)
        return payload.shown(code) if code else None, row.lot_id, what, by, row.occurred_at

    wanted = (
        select(EventRow)
        .join(LabelTally, LabelTally.seq == EventRow.seq)
        .where(LabelTally.season == scope.season, LabelTally.wrong.is_(True))
    )
    page = page_of(session, wanted, [LabelTally.seq], cells, asked.after, asked.limit)
    words = "Tags replaced on a bag, bound to two bags, or found wrong or damaged at the desk."
    return listing("Label errors", words, ("Tag", "Lot", "What was wrong", "By", "When (UTC)"), page, 0)


def sampling(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Cores taken, wrong entries and the margin that follows, over the samples that were cored."""
    alike = (
        CoringTally.cores,
        CoringTally.few,
        CoringTally.turned,
        CoringTally.otherwise,
        CoringTally.margin,
    )
    wanted = select(func.count(), *alike).where(CoringTally.season == scope.season).group_by(*alike)
    cores, margins, all_cored, few, turned, otherwise = Counter[Decimal](), Counter[Decimal](), 0, 0, 0, 0
    for times, taken, is_few, is_turned, is_otherwise, margin in session.execute(wanted):
        cores[Decimal(taken)] += times
        if margin:
            margins[Decimal(margin)] += times
        all_cored += times
        few, turned, otherwise = (
            few + times * is_few,
            turned + times * is_turned,
            otherwise + times * is_otherwise,
        )
    of_all = f"of {all_cored} samples cored"
    return (
        Figure("sampling:cores", "cores taken, median", _median(cores, 0), "cores", of_all),
        Figure("sampling:few", "fewer cores than planned", few, "samples", of_all),
        Figure("sampling:entry", "another entry than planned", turned, "samples", of_all),
        Figure("sampling:deviating", "cored otherwise than planned", otherwise, "samples", of_all),
        Figure(
            "sampling:cores",
            "margin of CP to be expected, median",
            _median(margins, 1),
            "% of dry matter, ±",
            of_all,
        ),
    )


def _median(counts: Counter[Decimal], places: int) -> Decimal | None:
    return to_places(quantile(Counted(counts.items()), HALF), places) if counts else None


def deviating(session: Session, scope: Scope, asked: Asked) -> Listing:
    """The samples a figure of sampling counts, with what was planned and done."""
    keeps: dict[str, Any] = {
        "few": CoringTally.few,
        "entry": CoringTally.turned,
        "deviating": CoringTally.otherwise,
    }
    wanted: Any = (
        select(EventRow, Lot.id, Lot.cutting, Field.name, Producer.name)
        .join(CoringTally, CoringTally.seq == EventRow.seq)
        .join(Lot, Lot.id == EventRow.lot_id)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .where(CoringTally.season == scope.season)
    )
    if asked.which in keeps:
        wanted = wanted.where(keeps[asked.which].is_(True))
    rows, following = rows_of(session, wanted, [CoringTally.seq], asked.after, asked.limit)
    plans = _plans(session, [event.sample_id for event, *_ in rows])
    lines = []
    for event, lot, cutting, field, producer in rows:
        planned, data = plans[(event.sample_id, int(event.data["plan"]))], event.data
        done = (planned.cores, int(data["cores_taken"]), planned.entry, str(data["entry"]))
        said = " ".join(data.get("deviations") or ())
        lines.append((lot, hay_said(producer, field, cutting), *done, said))
    heading = ("Lot", "Hay", "Cores planned", "Cores taken", "Entry planned", "Entry", "What was otherwise")
    words = "By the plan in force when they were cored."
    return listing("How the lots were sampled", words, heading, Page(tuple(lines), following))


def _plans(session: Session, samples: list[int]) -> dict[tuple[int, int], CoringPlan]:
    rows = session.scalars(select(Plan).where(Plan.sample_id.in_(samples)))
    return {(row.sample_id, row.version): CoringPlan.from_dict(row.body) for row in rows}
