"""What a report says of its margins: each with where it comes from, as plain text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from tracker.domain.analysis import CONSTITUENTS, NOT_CONVERTED
from tracker.domain.default_sds import TOTAL_DM
from tracker.domain.error_budget import CALIBRATION, KINDS, Budget, Margin, correlated, quantile
from tracker.domain.hay_errors import received
from tracker.domain.own_sds import METHOD
from tracker.domain.units import to_places
from tracker.lookups.margins import HayBudget

_DIGITS = Decimal("0.0001")


def shown_margin(margins: Mapping[str, Margin], code: str, decimals: int) -> str | None:
    """Half the interval with the value's decimals; None where no margin is known."""
    return margins[code].shown(decimals) if code in margins else None


def total_dm(dry_matter: Mapping[str, Any], margin: Margin | None) -> dict[str, Any]:
    """The report's dry matter: the total with the margin of the whole lot, and as many digits as that allows.

    The margin of the weighing alone stays under `weighing_margin`.
    """
    body = {**dry_matter, "weighing_margin": dry_matter["total_margin"]}
    if margin is None:
        return body
    places = 1 if margin.half_width >= Decimal("0.1") else 2
    covers = "the cores taken, the laboratory and the weighing"
    total = format(to_places(margin.value, places), "f")
    return {**body, "total": total, "total_margin": margin.shown(places), "covers": covers}


def margin_rows(hay: HayBudget) -> list[dict[str, Any]]:
    """For each measured value, and the total dry matter: its standard uncertainty and what it comes from."""
    margins = hay.budget.margins
    codes = [code for code in (*CONSTITUENTS, TOTAL_DM) if code in margins]
    return [_row(hay, margins[code]) for code in codes]


def _row(hay: HayBudget, margin: Margin) -> dict[str, Any]:
    code, by = margin.code, hay.measured_by.get(margin.code, "")
    return {
        "code": code,
        "name": CONSTITUENTS[code].name if code in CONSTITUENTS else "total dry matter",
        "half_width": _digits(margin.half_width),
        "dof": None if margin.dof is None else format(margin.dof, ".0f"),
        "shares": {
            kind: format(to_places(100 * margin.parts.get(kind, Decimal(0)), 0), "f") for kind in KINDS
        },
        "sampling": hay.sds.field_words(code),
        "laboratory": hay.sds.lab_words("DM" if code == TOTAL_DM else code, by),
    }


def _digits(value: Decimal) -> str:
    """Two significant digits, plainly written."""
    return format(value.quantize(Decimal(1).scaleb(value.adjusted() - 1)), "f") if value else "0"


def margin_words(hay: HayBudget, rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Sentences that hold for all margins of this report; rows: those of margin_rows."""
    margins = hay.budget.margins
    if not margins:
        return ["No margin is known: the cores of this lot, or its results, are not recorded."]
    words = [
        "± covers 95 of 100 cases and takes in the cores really taken, the laboratory and, for dry matter, "
        "the weighing. Calculated values carry the errors of what they are calculated from, together, as leaf moves "
        "protein and fiber in opposite directions; how well a formula fits this hay is not in it.",
    ]
    own = [row for row in rows if row["sampling"].startswith("own") or row["laboratory"].startswith("own")]
    if own:
        words.append(
            f"From this programme's own repeats: {', '.join(row['code'] for row in own)}. Method: {METHOD}."
        )
    else:
        words.append("All SDs are defaults or set by the programme; it has no repeats of its own yet.")
    if not any(CALIBRATION in margin.parts for margin in margins.values()):
        words.append("The error of a scan's calibration is not in them: no SEP has been set.")
    return words


def as_received_margin(margins: Mapping[str, Margin], code: str, decimals: int) -> str | None:
    """The margin of the value as received."""
    return None if code in NOT_CONVERTED else shown_margin(margins, received(code), decimals)


def shared_errors(budget: Budget) -> dict[str, Any]:
    """What feeding needs to carry the errors on: half intervals, and how the values err together."""
    margins = budget.margins
    codes = [code for code in budget.values if code in margins and _feeds(code)]
    pairs = [(one, other) for place, one in enumerate(codes) for other in codes[:place]]
    return {
        "values": {code: format(budget.values[code].quantize(_DIGITS), "f") for code in codes},
        "half_widths": {code: format(margins[code].half_width.quantize(_DIGITS), "f") for code in codes},
        "correlations": {
            f"{one} / {other}": format(budget.correlation(one, other).quantize(_DIGITS), "f")
            for one, other in pairs
        },
    }


def _feeds(code: str) -> bool:
    return code in ("CP", "ACP", "ADF", "NDF", TOTAL_DM) or code.startswith("TDN")


def budget_of(body: Mapping[str, Any]) -> Budget:
    """The budget of what feeding needs, as a released report keeps it; empty for a report from before margins."""
    kept = (body.get("margins") or {}).get("shared") or {}
    values = {code: Decimal(text) for code, text in kept.get("values", {}).items()}
    u = {code: Decimal(text) / quantile() for code, text in kept.get("half_widths", {}).items()}
    pairs = {tuple(pair.split(" / ")): Decimal(text) for pair, text in kept.get("correlations", {}).items()}
    return correlated(values, u, {(one, other): r for (one, other), r in pairs.items()})
