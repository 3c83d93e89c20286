"""A sample's dry matter and everything it comes from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_UP, Decimal
from typing import Any

from sqlalchemy.orm import Session

from tracker.domain import dry_matter
from tracker.domain.custody import Event
from tracker.domain.dry_matter import PartialDM, TotalDM
from tracker.domain.findings import Finding
from tracker.domain.practice import Practice
from tracker.storage.analysis import Standing, values_in_force
from tracker.storage.coring import Sample
from tracker.storage.custody import events_of
from tracker.storage.intake import Weighing, partial_dm_of, weighings_in_force
from tracker.storage.kept import practice_in_force


@dataclass(frozen=True)
class DryMatter:
    """Weights in grams as the balance showed them; partial and total with their standard uncertainty, in %.

    lab: % dry matter of the portion that was analysed; lab_source: who says so. None for what is not known.
    """

    tare: Decimal | None
    fresh: Decimal | None
    dry: Decimal | None
    zeroed: bool
    partial: PartialDM | None
    lab: Decimal | None
    lab_source: str
    total: TotalDM | None
    remarks: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values as they stand on a report: percentages with the decimals worth showing, ± at 95 %."""
        partial, total = self.partial, self.total
        return {
            "tare_g": _text(self.tare),
            "fresh_g": _text(self.fresh),
            "dry_g": _text(self.dry),
            "fresh_net_g": _text(partial.fresh_net) if partial else None,
            "dry_net_g": _text(partial.dry_net) if partial else None,
            "partial": _text(partial.shown) if partial else None,
            "partial_margin": _margin(partial),
            "lab": _text(self.lab),
            "lab_source": self.lab_source,
            "total": _text(total.shown) if total else None,
            "total_margin": _margin(total),
            "covers": total.covers if total else "",
            "remarks": [finding.words for finding in self.remarks],
        }

    def lines(self) -> list[str]:
        """The same as sentences."""
        plain = self.as_dict()
        lines = [
            f"Tare {plain['tare_g'] or '–'} g, fresh {plain['fresh_g'] or '–'} g, dry {plain['dry_g'] or '–'} g."
        ]
        if self.partial:
            lines.append(
                f"Partial dry matter {plain['dry_net_g']} / {plain['fresh_net_g']} g = {plain['partial']} "
                f"± {plain['partial_margin']} % of the mass as received, after the oven."
            )
        if self.lab is not None:
            lines.append(f"Lab dry matter {self.lab} % of the portion analysed ({self.lab_source}).")
        if self.total:
            lines.append(
                f"Total dry matter {plain['total']} ± {plain['total_margin']} %; ± covers {self.total.covers}."
            )
        else:
            lines.append("Total dry matter is not known yet: it needs both ovens, or a scan after the first.")
        return [*lines, *(finding.words for finding in self.remarks)]


def dry_matter_of(session: Session, sample: Sample) -> DryMatter:
    """The sample's dry matter as far as it is known."""
    standing, events = values_in_force(session, sample.id), events_of(session, sample.id)
    return dry_matter_from(
        standing, weighings_in_force(session, sample.id), events, practice_in_force(session)
    )


def dry_matter_from(
    standing: Standing, weighings: Sequence[Weighing], events: Iterable[Event], practice: Practice
) -> DryMatter:
    """The same from the values that stand, the weighings in force and the sample's events."""
    rows = {row.what: row for row in weighings}
    partial = partial_dm_of(weighings, practice)
    portion = standing.get("DM")
    lab = portion[1].value if portion else None
    one_step = "fresh" not in rows and not any(event.kind == "oven in" for event in events)
    total = dry_matter.total_dm(partial, lab, one_step=one_step)
    remarks: tuple[Finding, ...] = ()
    if lab is not None:
        remarks += (
            dry_matter.one_step_findings(lab, practice)
            if one_step
            else dry_matter.lab_dm_findings(lab, practice)
        )
    if total is not None:
        remarks += dry_matter.total_dm_findings(total, practice)
    return DryMatter(
        tare=rows["tare"].grams if "tare" in rows else None,
        fresh=rows["fresh"].grams if "fresh" in rows else None,
        dry=rows["dry"].grams if "dry" in rows else None,
        zeroed="fresh" in rows and rows["fresh"].zeroed,
        partial=partial,
        lab=lab,
        lab_source=portion[0].file.map.source.name if portion else "",
        total=total,
        remarks=remarks,
    )


def _text(value: Decimal | None) -> str | None:
    return None if value is None else format(value, "f")


def _margin(stated: PartialDM | TotalDM | None) -> str | None:
    """± at 95 %, rounded up to the digits of the value: a margin is never made to look better."""
    if stated is None:
        return None
    last_digit = Decimal(1).scaleb(-stated.decimals)
    return format(stated.expanded.quantize(last_digit, rounding=ROUND_UP), "f")
