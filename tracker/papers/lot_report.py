"""The report of a lot's sample as it was issued: what was found, how, from what, and who had the sample.

Printed from the kept snapshot alone, so that an old report comes out as it was. It carries what ISO/IEC
17025:2017, 7.8.2.1 asks of a report, what 7.8.5 asks of sampling, 7.8.7 of interpretations, and 7.8.8 of a changed
report.
"""

from __future__ import annotations

from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from tracker.domain.times import moment
from tracker.domain.way import Station
from tracker.errors import Refused
from tracker.lookups.report_record import Proof
from tracker.papers.flow import (
    DASH,
    TITLE_PT,
    cell,
    heading,
    inner_mm,
    pairs,
    ruled,
    stacked,
    write_flow,
)
from tracker.papers.pen import MM, SMALL_PT, Target
from tracker.papers.report_interpretation import interpretation
from tracker.papers.report_margins import margins
from tracker.papers.report_results import LOT, derived, dry_matter, headline, results
from tracker.papers.report_said import (
    Body,
    amount,
    caution_cell,
    cautions,
    given,
    joined,
    part,
    rows,
    when,
    words_of,
)
from tracker.papers.report_seal import seal
from tracker.papers.way import drawing

TITLE = "Report of hay analysis"
WIDTH_MM = inner_mm("a4")
COLUMN_MM = WIDTH_MM / 2 - 2


def lot_report(file: Target, body: Body, proof: Proof | None = None) -> int:
    """Write the report and return how many pages it has; the same body and proof give the same bytes.

    body: the snapshot kept with the report, plain values with numbers as text and times as RFC 3339. proof: the
    record that goes with it, None where there is none.
    """
    number = str(part(body, "report").get("number") or DASH)
    story: list[Flowable] = [
        *_title(body),
        _identity(body),
        *_way(body),
        *headline(body),
        *results(body),
        *derived(body),
        *dry_matter(body),
        *margins(body),
        *_sampling(body),
        *_remarks(body),
        *interpretation(body),
        *_custody(body),
        *seal(proof),
        KeepTogether([*_statements(body), Spacer(0, 6 * MM), cell(f"End of report {number}", bold=True)]),
    ]
    return write_flow(file, story, title=f"{TITLE} {number}", foot=f"{TITLE} {number}")


def _title(body: Body) -> list[Flowable]:
    report, programme = part(body, "report"), part(body, "programme")
    story: list[Flowable] = [
        cell(programme.get("name"), bold=True),
        cell(joined(programme.get("address"), programme.get("phone"))),
        Spacer(0, 4 * MM),
        cell(TITLE, size=TITLE_PT, bold=True),
    ]
    if given(report.get("replaces")):
        reason = f" Reason: {report['reason']}" if given(report.get("reason")) else ""
        words = f"Version {report.get('version')}, replaces {report['replaces']}.{reason}"
        story += [Spacer(0, 1 * MM), cell(words, bold=True), cell("What changed is marked in its row.")]
    return [*story, Spacer(0, 4 * MM)]


def _identity(body: Body) -> Table:
    left, right = pairs(_hay(body), COLUMN_MM), pairs(_papers(body), COLUMN_MM)
    table = Table([[left, right]], colWidths=[WIDTH_MM / 2 * MM] * 2, hAlign="LEFT")
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (0, 0), 0),
            ("LEFTPADDING", (1, 0), (1, 0), 4 * MM),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ]
    )
    return table


def _hay(body: Body) -> list[tuple[str, Any]]:
    lot, customer = part(body, "lot"), part(body, "customer")
    cut = f"cutting {lot['cutting']}" if given(lot.get("cutting")) else ""
    season = f"season {lot['season']}" if given(lot.get("season")) else ""
    name = joined(f"lot {lot['number']}" if given(lot.get("number")) else "", lot.get("field"), cut, season)
    kind = lot.get("forage_class") if lot.get("forage_class") != lot.get("forage") else ""
    warned = [caution_cell(caution) for caution in cautions(body, *LOT)]
    return [
        ("Customer", joined(customer.get("name"), customer.get("place"), customer.get("phone"))),
        ("Lot", [cell(joined(name, lot.get("part")), bold=True), *warned]),
        ("Forage", joined(lot.get("forage"), kind)),
        ("Harvested", when(lot.get("harvested"))),
        ("Bales", _bales(lot)),
        ("Stored", lot.get("storage")),
    ]


def _bales(lot: Body) -> str:
    count = joined(lot.get("bale_count"), lot.get("bale_shape"), between=" ")
    mass = amount(lot.get("bale_mass"), lot.get("bale_mass_unit") or "")
    if mass != DASH:
        mass = f"{mass} each (assumed, not weighed)" if lot.get("mass_assumed") else f"{mass} each"
    return joined(count, mass, amount(lot.get("short_tons"), "short tons"))


def _papers(body: Body) -> list[tuple[str, Any]]:
    report, sample = part(body, "report"), part(body, "sample")
    number = f"sample {sample['number']} of the lot" if given(sample.get("number")) else ""
    tested = [when(sample.get("tested_from")), when(sample.get("tested_to"))]
    span = " to ".join(dict.fromkeys(tested))
    return [
        ("Report", report.get("number")),
        ("Issued", when(report.get("issued_at"))),
        ("Authorised by", joined(report.get("issued_by"), report.get("issued_by_role"))),
        ("Sample", joined(sample.get("code"), number)),
        ("Sampled", when(sample.get("sampled_at"))),
        ("Received", when(sample.get("received_at"))),
        ("Condition", sample.get("received_condition")),
        ("Tested", span),
        ("Tested at", _tested_at(body)),
    ]


def _tested_at(body: Body) -> str:
    programme = part(body, "programme")
    place = joined(programme.get("name"), programme.get("address"))
    outside = any(result.get("outside") for result in rows(body, "results"))
    return f"{place}; except results marked as an outside provider's" if outside else place


def _way(body: Body) -> list[Flowable]:
    stations = [_station(row) for row in rows(body, "stations")]
    if not stations:
        return []
    return [KeepTogether([*heading("The way of the sample", 40), drawing(stations, WIDTH_MM)])]


def _station(row: Body) -> Station:
    try:
        at = moment(row["at"]) if given(row.get("at")) else None
    except Refused:
        at = None
    return Station(
        str(row.get("name")), row.get("word") or "", at, row.get("by") or "", bool(row.get("here"))
    )


def _sampling(body: Body) -> list[Flowable]:
    plan, cored = part(body, "plan"), part(body, "cored")
    version = f"plan {plan['version']}" if given(plan.get("version")) else ""
    seed = f"seed {plan['seed']}" if given(plan.get("seed")) else ""
    rows_ = [
        ("Cores", plan.get("cores"), cored.get("cores")),
        ("Entry", plan.get("entry"), cored.get("entry")),
        ("Probe", plan.get("probe"), DASH),
        ("Depth", amount(plan.get("depth_mm"), "mm"), DASH),
        ("Composite sample", amount(plan.get("mass_g"), "g"), amount(cored.get("composite_g"), "g")),
    ]
    header = ("Sampling", joined("Planned", version, seed), "Done")
    table = ruled(header, [[row] for row in rows_], (40, 70, 60))
    return [
        KeepTogether([*heading("How the lot was sampled", 50), table, Spacer(0, 1.5 * MM), _sampled(body)])
    ]


def _sampled(body: Body) -> Table:
    plan, cored = part(body, "plan"), part(body, "cored")
    said: list[tuple[str, Any]] = [
        ("Sampled by", cored.get("by")),
        ("Time", " to ".join(dict.fromkeys([when(cored.get("started_at")), when(cored.get("ended_at"))]))),
        ("Margin", _margin(plan)),
        ("Deviations", _deviations(cored)),
    ]
    if given(plan.get("fewer_cores_reason")):
        said.insert(2, ("Fewer cores", plan["fewer_cores_reason"]))
    return pairs(said, WIDTH_MM)


def _deviations(cored: Body) -> Any:
    found = [cell(words_of(words), bold=True) for words in rows(cored, "deviations")]
    return found or ("none" if cored.get("deviations") is not None else None)


def _margin(plan: Body) -> str:
    margins = [
        f"{name} ±{plan[key]}"
        for name, key in (("CP", "cp_margin"), ("NDF", "ndf_margin"))
        if given(plan.get(key))
    ]
    return f"of the mean of the lot to be expected: {', '.join(margins)} % of dry matter" if margins else DASH


def _remarks(body: Body) -> list[Flowable]:
    """Remarks on the whole, each with its level as a word."""
    found = rows(body, "remarks")
    if not found:
        return []
    said = [
        cell(words_of(row), lead=f"{str(row.get('level') or 'note').capitalize()}:")
        if isinstance(row, dict)
        else cell(row)
        for row in found
    ]
    return [*heading("Remarks", 15), *said]


def _custody(body: Body) -> list[Flowable]:
    events = [[_event(row)] for row in rows(body, "custody")]
    if not events:
        return [*heading("Custody", 15), cell("No custody is on record for this sample.")]
    table = ruled(("", "Time", "Who", "What"), events, (8, 42, 42, 78))
    return [*heading("Custody"), table, Spacer(0, 2 * MM), *_heard(body), *_gaps(body)]


def _heard(body: Body) -> list[Flowable]:
    """The order in which the laboratory heard of the entries, where it is not that in which they happened."""
    numbers = [row["number"] for row in rows(body, "custody") if isinstance(row.get("number"), int)]
    if numbers == sorted(numbers):
        return []
    came = ", ".join(str(number) for number in sorted(numbers))
    return [cell(f"They stand as they happened. The laboratory heard of them in the order {came}.")]


def _gaps(body: Body) -> list[Flowable]:
    gaps = rows(body, "gaps")
    if not gaps:
        return [cell("No gap: at every time somebody is on record as holding the sample.")]
    return [cell(words_of(words), lead="Gap in custody:") for words in gaps]


def _event(row: Body) -> list[Any]:
    marks = ["Entered late."] if row.get("late") else []
    marks += ["Corrected."] if row.get("corrected") else []
    remarks = " ".join(words_of(remark) for remark in rows(row, "remarks"))
    small = [cell(words, size=SMALL_PT) for words in (remarks, row.get("note")) if given(words)]
    what = row.get("words") or row.get("kind")
    return [
        cell(row.get("number"), size=SMALL_PT),
        cell(when(row.get("at")), size=SMALL_PT),
        cell(joined(row.get("by"), row.get("role")), size=SMALL_PT),
        stacked(cell(what), *(cell(mark, bold=True) for mark in marks), *small),
    ]


def _statements(body: Body) -> list[Flowable]:
    found = [cell(words_of(words)) for words in rows(body, "statements")]
    return [*heading("Statements", 20), *found] if found else []
