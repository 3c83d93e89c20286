"""Every value of a sample with its margin, from the cores to what is calculated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from tracker.domain import analysis
from tracker.domain.analysis import AS_ANALYSED, AS_RECEIVED, Value
from tracker.domain.error_budget import Budget
from tracker.domain.hay_errors import Measured, Moisture, hay_errors, with_derived, with_received
from tracker.domain.own_sds import Sds
from tracker.lookups.dry_matter import DryMatter
from tracker.lookups.grounds import Grounds
from tracker.storage.analysis import Analysis, Standing, as_value

NOTHING = Budget({}, ())


@dataclass(frozen=True)
class HayBudget:
    """The sample's budget, the SDs it was made with, and who measured each constituent."""

    budget: Budget
    sds: Sds
    measured_by: Mapping[str, str]


def hay_budget(grounds: Grounds) -> HayBudget:
    """Values on dry matter by constituent, calculated values by their codes, "total DM", "CP as received" and so on.

    A value of which no spread is known, or of a lot whose coring is not known, stands there without a source.
    """
    standing, dm, sds = grounds.standing, grounds.dm, grounds.sds
    on_dm = on_dry_matter(standing)
    measured = [_measured(value, standing[code][0]) for code, value in on_dm.items() if code != "DM"]
    by = {one.code: one.source for one in measured}
    moisture = _moisture(dm, standing)
    if grounds.cored is None:
        values = {one.code: one.value for one in measured}
        budget = Budget({**values, **({"total DM": moisture.total} if moisture else {})}, ())
    else:
        budget = hay_errors(measured, grounds.cored, moisture, sds)
    if not budget.values:
        return HayBudget(NOTHING, sds, by)
    return HayBudget(with_derived(with_received(budget), grounds.forage_class, sds.practice), sds, by)


def on_dry_matter(standing: Standing) -> dict[str, Value]:
    """What stands, in the constituent's own unit on dry matter, by the dry matter of the portion analysed."""
    turned = {
        row.id: analysis.all_on_dry_matter({value.constituent: as_value(value) for value in row.values})
        for row in {row.id: row for row, _ in standing.values()}.values()
    }
    return {code: turned[row.id][code] for code, (row, _) in standing.items() if code in turned[row.id]}


def _measured(value: Value, row: Analysis) -> Measured:
    given = next(one for one in row.values if one.constituent == value.code)
    portion = next((one.value for one in row.values if one.constituent == "DM"), None)
    turned = given.basis in (AS_RECEIVED, AS_ANALYSED) and portion is not None
    source = row.file.map.source
    return Measured(
        value.code,
        value.value,
        source.name,
        scanned=source.kind == "instrument",
        portion=str(row.id) if turned else None,
        portion_dm=portion if turned else None,
    )


def _moisture(dm: DryMatter, standing: Standing) -> Moisture | None:
    if dm.total is None or dm.lab is None:
        return None
    row, _ = standing["DM"]
    partial, u = (dm.partial.value, dm.partial.u) if dm.partial else (Decimal(100), Decimal(0))
    return Moisture(dm.total.value, partial, u, dm.lab, row.file.map.source.name, str(row.id))
