"""The report's figures: those a producer reads first, all that was measured, what was calculated, the dry matter.

A caution stands in the row of the value it is about or directly under it, never apart from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table

from tracker.papers.flow import BODY_PT, DASH, cell, heading, pairs, ruled, stacked
from tracker.papers.pen import MM, SMALL_PT
from tracker.papers.report_said import (
    Body,
    amount,
    caution_cell,
    cautions,
    figure,
    given,
    joined,
    other_cautions,
    part,
    rows,
    unit,
    when,
    with_margin,
    words_of,
)

HEADLINE = ("CP", "NDF", "TDN", "RFV", "RFQ")
HEADLINE_PT = 12.0
GAP_MM = 1.5
CHANGED, OUTSIDE = "changed in this version", "outside provider"
DRY_MATTER = ("dry matter", "DM", "total", "partial")
LOT = ("lot", "sample", "custody")


def headline(body: Body) -> list[Flowable]:
    """What a producer reads first, and every value that carries a caution; nothing when there is none of it."""
    shown = [_first(body), *_headline_results(body), *_headline_derived(body)]
    groups = [[row] for row in shown if row]
    placed = [row["code"] for row in (*rows(body, "results"), *rows(body, "derived"))]
    loose = other_cautions(body, [*placed, *DRY_MATTER, *LOT])
    groups += [[[caution_cell(caution, named=True)]] for caution in loose]
    if not groups:
        return [*heading("In short", 12), cell("Nothing was measured.")]
    table = ruled(("", "Result", "Unit and basis", ""), groups, (46, 36, 32, 56), right=(1,), more=_level())
    return [KeepTogether([*heading("In short", 40), table])]


def _level() -> list[tuple[Any, ...]]:
    """Brings the small words onto the line of the large figures beside them."""
    lower = 0.7 * MM + (HEADLINE_PT - BODY_PT)
    return [("TOPPADDING", (at, 1), (at, -1), lower) for at in (0, 2, 3)]


def _first(body: Body) -> list[Any] | None:
    dry = part(body, "dry_matter")
    if not given(dry.get("total")):
        return None
    value = with_margin(figure(dry["total"]), dry.get("total_margin"))
    covers = f"± of {dry['covers']}" if given(dry.get("covers")) else ""
    return _headline_row("Dry matter", value, "% as received", cautions(body, *DRY_MATTER), covers)


def _headline_results(body: Body) -> list[list[Any]]:
    found = []
    for result in rows(body, "results"):
        warned = cautions(body, result["code"])
        dry = result["code"].casefold() == "dm"
        if (result["code"] not in HEADLINE and not warned) or (dry and _first(body)):
            continue
        of_dm = given(result.get("dm"))
        value = figure(result.get("dm" if of_dm else "ar"), result.get("decimals"), result.get("qualifier"))
        margin = result.get("margin" if of_dm else "ar_margin")
        basis = "of dry matter" if of_dm else "as received" if value != DASH else ""
        said = joined(unit(result.get("unit")), basis, between=" ")
        marks = joined(OUTSIDE if result.get("outside") else "", CHANGED if result.get("changed") else "")
        found.append(_headline_row(_named(result), with_margin(value, margin), said, warned, marks))
    return found


def _headline_derived(body: Body) -> list[list[Any]]:
    """The first value of each calculated kind, and whatever carries a caution."""
    found, seen = [], {result["code"] for result in rows(body, "results") if given(result.get("dm"))}
    for derived in rows(body, "derived"):
        kind = next((code for code in HEADLINE if derived["code"].upper().startswith(code)), None)
        warned = cautions(body, derived["code"])
        if not warned and (not given(derived.get("value")) or kind is None or kind in seen):
            continue
        seen.add(kind)
        marks = joined("calculated", CHANGED if derived.get("changed") else "")
        value = with_margin(figure(derived.get("value")), derived.get("margin"))
        found.append(
            _headline_row(derived.get("name") or derived["code"], value, _of(derived), warned, marks)
        )
    return found


def _headline_row(name: Any, value: str, said: str, warned: Sequence[Body], how: str = "") -> list[Any]:
    beside: list[Paragraph] = [caution_cell(caution) for caution in warned]
    if how not in ("", DASH):
        beside.insert(0, cell(how))
    return [cell(name), cell(value, size=HEADLINE_PT, bold=True, right=True), cell(said), beside or ""]


def _named(result: Body) -> str:
    name, code = result.get("name") or result["code"], result["code"]
    return str(name) if code in str(name) else f"{name} ({code})"


def _of(derived: Body) -> str:
    """Unit and basis of a calculated value; the basis as people say it."""
    basis = str(derived.get("basis") or "")
    basis = {"dm": "of dry matter", "dry matter": "of dry matter", "ar": "as received"}.get(
        basis.casefold(), basis
    )
    said = joined(unit(derived.get("unit")), basis, between=" ")
    return "index" if said == DASH else said


def results(body: Body) -> list[Flowable]:
    """All that was measured, each with its cautions directly under it, and then where each value comes from.

    A run measures a dozen things in one way; that is said once, under a letter, and not a dozen times.
    """
    found = rows(body, "results")
    if not found:
        return [*heading("Measured results", 12), cell("Nothing was measured.")]
    letters = _letters(found)
    groups = []
    for result in found:
        under = [[caution_cell(caution)] for caution in cautions(body, result["code"])]
        groups.append([_result(result, letters), *under])
    header = ("Constituent", "Dry matter", "As received", "Unit", "Given as", "By")
    table = ruled(header, groups, (44, 27, 27, 18, 46, 8), right=(1, 2))
    note = "Dry matter and as received are the two bases. ± is said under Margins. A dash: not measured."
    sources = [cell(f"{letter}: {origin}", size=SMALL_PT) for origin, letter in letters.items()]
    return [
        *heading("Measured results", 45),
        cell(note, size=SMALL_PT),
        table,
        Spacer(0, GAP_MM * MM),
        *sources,
    ]


def _letters(found: Sequence[Body]) -> dict[str, str]:
    """Each way of measuring with the letter that stands for it, in the order of the rows."""
    origins = list(dict.fromkeys(_origin(result) for result in found))
    return {origin: chr(ord("a") + place % 26) * (1 + place // 26) for place, origin in enumerate(origins)}


def _origin(result: Body) -> str:
    """Method, calibration, time, and who measured it."""
    scanned = f"measured {when(result['scanned_at'])}" if given(result.get("scanned_at")) else ""
    source = result.get("source")
    by = f"{OUTSIDE}: {source or 'not named'}" if result.get("outside") else source
    return joined(result.get("method"), result.get("calibration"), by, scanned)


def _result(result: Body, letters: dict[str, str]) -> list[Any]:
    places, sign = result.get("decimals"), result.get("qualifier")
    return [
        stacked(
            cell(_named(result)),
            cell(CHANGED, bold=True) if result.get("changed") else None,
        ),
        with_margin(figure(result.get("dm"), places, sign), result.get("margin")),
        with_margin(figure(result.get("ar"), places, sign), result.get("ar_margin")),
        unit(result.get("unit")),
        _how(result),
        letters[_origin(result)],
    ]


def _how(result: Body) -> list[Paragraph]:
    """The value as it was given, whether it came from outside, and what was remarked on it."""
    lines = [
        OUTSIDE if result.get("outside") else "",
        _as_given(result),
        " ".join(words_of(flag) for flag in rows(result, "flags")),
    ]
    found = [line for line in lines if given(line) and line != DASH]
    return [cell(line, size=SMALL_PT) for line in found or [DASH]]


def _as_given(result: Body) -> str:
    if not given(result.get("value_given")):
        return ""
    value = joined(result["value_given"], unit(result.get("unit_given")), between=" ")
    return joined(value, result.get("basis_given"), between=", ")


def derived(body: Body) -> list[Flowable]:
    """What was calculated from the results, apart from them, with formula and source."""
    groups = []
    for value in rows(body, "derived"):
        under = [[caution_cell(caution)] for caution in cautions(body, value["code"])]
        groups.append([_derived(value), *under])
    if not groups:
        return []
    table = ruled(
        ("Value", "Result", "Unit and basis", "Formula and source"), groups, (46, 25, 30, 69), right=(1,)
    )
    note = "Not measured: calculated from the results above by the formulas named."
    return [*heading("Calculated values"), cell(note, size=SMALL_PT), table]


def _derived(value: Body) -> list[Any]:
    lines = [value.get("formula"), value.get("source")]
    missing = rows(value, "missing")
    if missing:
        lines.append(f"Not calculated for want of {', '.join(map(str, missing))}.")
    return [
        stacked(
            cell(value.get("name") or value["code"]),
            cell(CHANGED, bold=True) if value.get("changed") else None,
        ),
        with_margin(figure(value.get("value")), value.get("margin")),
        _of(value),
        [cell(line, size=SMALL_PT) for line in lines if given(line)] or DASH,
    ]


def dry_matter(body: Body) -> list[Flowable]:
    """The weighings and the dry matter they give; cautions beside it."""
    dry = part(body, "dry_matter")
    header = ("Weighings, g", "Tare", "Gross fresh", "Gross dry", "Net fresh", "Net dry")
    weights = [figure(dry.get(key)) for key in ("tare_g", "fresh_g", "dry_g", "fresh_net_g", "dry_net_g")]
    weighed = ruled(header, [[["first oven", *weights]]], (40, 26, 26, 26, 26, 26), right=(1, 2, 3, 4, 5))
    return [
        KeepTogether(
            [
                *heading("Dry matter", 40),
                weighed,
                Spacer(0, GAP_MM * MM),
                _percentages(dry),
                *_said_of_it(body, dry),
            ]
        ),
    ]


def _percentages(dry: Body) -> Table:
    partial, total = figure(dry.get("partial")), figure(dry.get("total"))
    lab = amount(dry.get("lab"), "%")
    return pairs(
        [
            ("Partial DM", _percent(partial, dry.get("partial_margin"), "of fresh weight")),
            ("Lab DM", joined(lab, dry.get("lab_source"))),
            ("Total DM", _percent(total, dry.get("total_margin"), "as received")),
        ],
        170,
    )


def _percent(value: str, margin: Any, basis: str) -> str:
    return DASH if value == DASH else f"{with_margin(value, margin)} % {basis}"


def _said_of_it(body: Body, dry: Body) -> list[Flowable]:
    said: list[Flowable] = [caution_cell(caution) for caution in cautions(body, *DRY_MATTER)]
    said += [cell(words_of(remark)) for remark in rows(dry, "remarks")]
    if given(dry.get("covers")):
        said.append(cell(f"± covers {dry['covers']}", size=BODY_PT))
    return said
