"""Errors of labels, and how well the lots were sampled."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from labels import payload
from tracker.domain.coring import CoringPlan
from tracker.domain.quantiles import quantile
from tracker.domain.units import to_places
from tracker.lookups.programme.figure import Figure, Listing, Scope, listing
from tracker.storage.coring import Plan, Sample
from tracker.storage.custody import EventRow
from tracker.storage.lots import Field, Lot
from tracker.storage.people import Producer, party_names

# What the desk may find wrong with a label, of the reasons for which a bag is doubted.
LABEL_REASONS = ("unlabelled", "tag unreadable", "tag void or unknown", "two tags on a bag")
LABEL_CONDITIONS = ("label damaged",)


def labels(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Bags, and errors of labels for each thousand of them."""
    bags = session.scalar(_events(scope, "bagged", func.count())) or 0
    wrong = len(_label_errors(session, scope))
    rate = to_places(Decimal(1000 * wrong) / bags, 1) if bags else None
    return (Figure("labels", "label errors", rate, "per 1,000 bags", f"{wrong} in {bags} bags"),)


def label_errors(session: Session, scope: Scope, which: str) -> Listing:
    """Every tag that had to be replaced, was contested, or was found wrong at the desk."""
    names = party_names(session)
    rows = [
        (code, lot, what, names.get(by, by), at) for code, lot, what, by, at in _label_errors(session, scope)
    ]
    words = "Tags replaced on a bag, bound to two bags, or found wrong or damaged at the desk."
    return listing("Label errors", words, ("Tag", "Lot", "What was wrong", "By", "When (UTC)"), rows, 0)


def _label_errors(session: Session, scope: Scope) -> list[tuple[Any, ...]]:
    wanted = _events(scope, ("tag replaced", "tag contested", "received", "transfer refused"), EventRow)
    found = []
    for row in session.scalars(wanted.order_by(EventRow.seq)):
        what = _label_error(row.kind, row.data)
        if what:
            code = row.data.get("old_code") or row.data.get("code")
            found.append((payload.shown(code) if code else None, row.lot_id, what, row.by, row.occurred_at))
    return found


def _label_error(kind: str, data: Mapping[str, Any]) -> str:
    if kind == "tag replaced":
        return f"tag replaced: {data.get('reason', '')}"
    if kind == "tag contested":
        return "bound to two bags"
    if data.get("reason") in LABEL_REASONS:
        return str(data["reason"])
    return next((one for one in LABEL_CONDITIONS if one in (data.get("condition") or ())), "")


def sampling(session: Session, scope: Scope) -> tuple[Figure, ...]:
    """Cores taken, wrong entries and the margin that follows, over the samples that were cored."""
    found = _cored(session, scope)
    few = sum(taken < planned.cores for _, _, planned, taken, _, _ in found)
    wrong = sum(entry != planned.entry for _, _, planned, _, entry, _ in found)
    said = sum(bool(deviations) for *_, deviations in found)
    cores = sorted(Decimal(taken) for _, _, _, taken, _, _ in found)
    middle = to_places(quantile(cores, Decimal("0.5")), 0) if cores else None
    margins = sorted(Decimal(planned.cp_margin) for _, _, planned, *_ in found if planned.cp_margin)
    margin = to_places(quantile(margins, Decimal("0.5")), 1) if margins else None
    of_all = f"of {len(found)} samples cored"
    return (
        Figure("sampling:cores", "cores taken, median", middle, "cores", of_all),
        Figure("sampling:few", "fewer cores than planned", few, "samples", of_all),
        Figure("sampling:entry", "another entry than planned", wrong, "samples", of_all),
        Figure("sampling:deviating", "cored otherwise than planned", said, "samples", of_all),
        Figure("sampling:cores", "margin of CP to be expected, median", margin, "% of dry matter, ±", of_all),
    )


def deviating(session: Session, scope: Scope, which: str) -> Listing:
    """The samples a figure of sampling counts, with what was planned and done."""
    keeps = {
        "few": lambda planned, taken, entry, deviations: taken < planned.cores,
        "entry": lambda planned, taken, entry, deviations: entry != planned.entry,
        "deviating": lambda planned, taken, entry, deviations: bool(deviations),
    }.get(which, lambda planned, taken, entry, deviations: True)
    rows = [
        (lot, hay, planned.cores, taken, planned.entry, entry, " ".join(deviations))
        for lot, hay, planned, taken, entry, deviations in _cored(session, scope)
        if keeps(planned, taken, entry, deviations)
    ]
    heading = ("Lot", "Hay", "Cores planned", "Cores taken", "Entry planned", "Entry", "What was otherwise")
    return listing("How the lots were sampled", "By the plan in force when they were cored.", heading, rows)


def _cored(session: Session, scope: Scope) -> list[tuple[int, str, CoringPlan, int, str, tuple[str, ...]]]:
    plans = {
        (row.sample_id, row.version): row.body
        for row in session.scalars(
            select(Plan)
            .join(Sample, Sample.id == Plan.sample_id)
            .join(Lot, Lot.id == Sample.lot_id)
            .where(Lot.season == scope.season)
        )
    }
    wanted = (
        _events(scope, "cored", EventRow)
        .add_columns(Lot.id, Lot.cutting, Field.name, Producer.name)
        .join(Field, Field.id == Lot.field_id)
        .join(Producer, Producer.id == Field.producer_id)
        .order_by(EventRow.seq)
    )
    return [
        (
            lot,
            f"{producer}, {field}, cutting {cutting}",
            CoringPlan.from_dict(plans[(row.sample_id, int(row.data["plan"]))]),
            int(row.data["cores_taken"]),
            str(row.data["entry"]),
            tuple(row.data.get("deviations") or ()),
        )
        for row, lot, cutting, field, producer in session.execute(wanted)
    ]


def _events(scope: Scope, kinds: str | tuple[str, ...], what: Any) -> Any:
    """Events of these kinds on the season's lots."""
    wanted = (kinds,) if isinstance(kinds, str) else kinds
    return (
        select(what)
        .select_from(EventRow)
        .join(Lot, Lot.id == EventRow.lot_id)
        .where(EventRow.kind.in_(wanted), Lot.season == scope.season)
    )
