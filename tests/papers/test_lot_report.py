"""The lot report, read back from its PDF."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest

from tests.papers.reading import stray, texts
from tests.papers.report_bodies import BODY, EMPTY, long_custody, make_body, second_version
from tracker.papers.lot_report import lot_report

BODIES = {
    "whole": BODY,
    "second version": second_version(),
    "60 events": make_body(custody=long_custody()),
    "nothing known": EMPTY,
    "long words": make_body(
        lot={"field": "f" * 4000},
        customer={"name": "many names " * 300},
        cautions=[{"about": "NO3", "words": "take care " * 900, "source": "x" * 300}],
        custody=[{**long_custody(1)[0], "note": "a long night " * 900, "by": "W" * 200}],
    ),
}

# ISO/IEC 17025:2017, 7.8.2.1 a to p (the list of clauses from memory), and where the report answers it.
ITEMS_17025 = {
    "a title": ["Report of hay analysis"],
    "b name and address of the laboratory": ["Three Rivers Hay Programme 12 Mill Lane, Alder Bend, 555-0142"],
    "c where it was done": ["Tested at Three Rivers Hay Programme, 12 Mill Lane"],
    "d identification on each page and a clear end": [
        "R-3R71XZ15-v1 page 1 of",
        "End of report R-3R71XZ15-v1",
    ],
    "e customer and contact": ["Customer Ada Brandt, Cold Spring Road, Alder Bend, 555-0117"],
    "f method": ["near infrared scan, mixed hay 2026-1", "ion electrode, wet chemistry"],
    "g description, identity and condition": [
        "lot 12, North 40, cutting 2, season 2026",
        "3R71-XZ15, sample 1 of the lot",
        "Condition dry, bag torn at one corner",
    ],
    "h dates of receipt and sampling": ["Received 15 Jun 2026, 08:05", "Sampled 14 Jun 2026, 09:10"],
    "i dates of testing": ["Tested 15 Jun 2026, 10:20 (UTC-05:00) to 18 Jun 2026, 11:05"],
    "j date of issue": ["Issued 19 Jun 2026, 15:42"],
    "k sampling plan and method": ["plan 1, seed 4711", "5/8 inch (15.9 mm inside)", "Cores 20 19", "458 mm"],
    "l relates only to the items": ["The results relate only to the sample as received."],
    "m results with units": [
        "crude protein (CP) 8.6 ± 0.5 7.2 ± 0.4 %",
        "nitrate (NO3) 6200 ± 400 5220 mg/kg",
    ],
    "n deviations": ["Deviations Bale 88 could not be reached; its core was left out."],
    "o who authorised": ["Authorised by Lena Okafor, lead"],
    "p results of outside providers": ["outside provider: Birch Hollow Forage Bench"],
}


def printed(body: dict[str, Any]) -> bytes:
    file = io.BytesIO()
    pages = lot_report(file, body)
    assert pages == len(texts(file.getvalue()))
    return file.getvalue()


def words(body: dict[str, Any]) -> str:
    return " ".join(texts(printed(body)))


@pytest.fixture(scope="module")
def whole() -> str:
    return words(BODY)


def row_of(text: str, first: str, last: str) -> str:
    """What stands from first to the next last, in the table of measured results or after it."""
    start = text.index(first, text.index("Measured results"))
    return text[start : text.index(last, start)]


@pytest.mark.parametrize("item", ITEMS_17025)
def test_each_of_the_16_items_of_a_report_is_there(item: str, whole: str) -> None:
    for said in ITEMS_17025[item]:
        assert said in whole


@pytest.mark.parametrize("name", BODIES)
def test_every_page_has_the_number_and_page_x_of_y(name: str) -> None:
    pages = texts(printed(BODIES[name]))
    number = BODIES[name]["report"]["number"]
    for at, page in enumerate(pages, start=1):
        assert page.endswith(f"{number} page {at} of {len(pages)}")
    assert f"End of report {number}" in pages[-1]


@pytest.mark.parametrize("name", BODIES)
def test_nothing_leaves_the_margins_of_either_paper(name: str) -> None:
    # A4 printed in full size on letter loses 25 pt above and below; 36 pt leave a printer's edge besides.
    assert stray(printed(BODIES[name]), 36.0) == []


def test_a_caution_stands_directly_under_its_row(whole: str) -> None:
    row = row_of(whole, "nitrate (NO3)", "Calculated values")
    assert "Caution: 6200 mg/kg is above 5000 mg/kg: not for pregnant cattle unless diluted." in row


def test_a_caution_stands_beside_the_headline_number_too(whole: str) -> None:
    head = whole[whole.index("In short") : whole.index("Measured results")]
    assert re.search(r"6200 ± 400 .*outside provider.* Caution: 6200 mg/kg is above", head)
    assert re.search(r"84\.2 ± 0\.4 .*Caution: 84\.2 % dry matter is moist", head)


@pytest.mark.parametrize("rows_before", range(6, 24))
def test_a_row_and_its_caution_stay_on_one_page(rows_before: int) -> None:
    # So many rows push the pair over the foot of the first page, whatever stands above the table.
    fill = {**BODY["results"][2], "code": "ASH", "name": "ash"}
    nitrate = BODY["results"][4]
    pages = texts(printed(make_body(results=[fill] * rows_before + [nitrate], stations=[])))
    (page,) = [page for page in pages if "nitrate (NO3) 6200 ± 400 5220" in page]
    assert "Caution: 6200 mg/kg is above 5000" in page[page.index("nitrate (NO3) 6200 ± 400 5220") :]


def test_a_caution_about_the_lot_stands_with_the_lot_and_one_about_nothing_here_is_not_lost(
    whole: str,
) -> None:
    identity = whole[: whole.index("The way of the sample")]
    assert "Caution: Part of the stack was out of reach" in identity
    assert "Caution on mould: Mould was seen at the desk" in whole


def test_a_caution_about_a_calculated_value_stands_under_it() -> None:
    text = words(make_body(cautions=[{"about": "RFV", "words": "Says nothing of protein.", "source": ""}]))
    calculated = text[text.index("Calculated values") :]
    assert calculated.index("Relative feed value") < calculated.index("Says nothing of protein.")
    assert calculated.index("Says nothing of protein.") < calculated.index("Relative forage quality")


def test_what_was_not_measured_is_a_dash(whole: str) -> None:
    assert "bound protein (ADICP) – – % –" in whole


def test_calculated_values_stand_apart_with_formula_source_and_what_they_lack(whole: str) -> None:
    measured = whole[whole.index("Measured results") : whole.index("Calculated values")]
    calculated = whole[whole.index("Calculated values") : whole.index("Weighings, g")]
    assert "TDN" not in measured and "Relative feed value" not in measured
    assert "(88.9 - 0.779 × ADF) × (120 / NDF) / 1.29 an invented source, 2020" in calculated
    assert "Not calculated for want of NDFD48, fat." in calculated


def test_the_dry_matter_shows_its_weighings_and_margins(whole: str) -> None:
    for said in (
        "first oven 18.2 218.2 198.4 200.0 180.2",
        "Partial DM 90.10 ± 0.09 % of fresh weight",
        "Lab DM 93.5 %, by scan",
        "Total DM 84.2 ± 0.4 % as received",
        "± covers the balance and the scan",
    ):
        assert said in whole


def test_sampling_says_what_is_needed_to_judge_its_uncertainty(whole: str) -> None:
    # ISO/IEC 17025:2017, 7.8.5 f.
    assert "CP ±0.8, NDF ±1.9 % of dry matter" in whole and "Composite sample 290 g 281.4 g" in whole
    reason = words(make_body(plan={"fewer_cores_reason": "a small lot"}))
    assert "Fewer cores a small lot" in reason and "Fewer cores" not in whole


def test_no_deviation_is_said_and_an_unknown_one_is_a_dash() -> None:
    assert "Deviations none" in words(make_body(cored={"deviations": []}))
    assert "Deviations –" in words(EMPTY)


def test_custody_is_told_with_marks_and_gaps(whole: str) -> None:
    custody = whole[whole.index("Custody Time Who What") :]
    assert (
        "2 14 Jun 2026, 09:58 (UTC-05:00) Rosa Quiroga, technician put into bag 3R71-XZ15 Entered late."
        in custody
    )
    assert "Gap in custody: From 14 Jun 18:00" in custody
    assert "No gap" in words(make_body(gaps=[])) and "No gap" not in words(EMPTY)


def test_custody_heard_of_in_another_order_than_it_happened_tells_both() -> None:
    straight = make_body()
    turned = make_body(custody=[{**row, "number": 9 - row["number"]} for row in straight["custody"]])
    assert "heard of them in the order" not in words(straight)
    assert "The laboratory heard of them in the order 6, 7, 8." in words(turned)


def test_60_events_flow_over_pages_with_the_header_again() -> None:
    pages = texts(printed(BODIES["60 events"]))
    with_events = [page for page in pages if re.search(r"event \d+:", page)]
    assert len(with_events) > 2 and all("Time Who What" in page for page in with_events)
    told = [int(number) for number in re.findall(r"event (\d+):", " ".join(pages))]
    assert told == list(range(1, 61))
    assert "Corrected." in " ".join(pages)


def test_a_changed_report_says_what_it_replaces_why_and_what_changed(whole: str) -> None:
    # ISO/IEC 17025:2017, 7.8.8.
    text = words(second_version())
    assert "Version 2, replaces R-3R71XZ15-v1. Reason: scanned again after the lamp was replaced" in text
    assert "changed in this version" in row_of(text, "crude protein (CP)", "acid detergent")
    assert "changed in this version" not in row_of(text, "acid detergent", "Calculated values")
    assert "replaces" not in whole and "changed in this version" not in whole


def test_figures_keep_their_digits_and_lose_only_what_the_method_does_not_carry() -> None:
    result = BODY["results"][0]
    text = words(
        make_body(
            results=[
                {**result, "dm": "8.649", "ar": "7", "qualifier": "<", "margin": None, "ar_margin": None}
            ]
        )
    )
    assert "crude protein (CP) < 8.6 < 7 %" in text


def test_a_value_known_only_as_received_says_so_in_the_headline() -> None:
    text = words(make_body(results=[{**BODY["results"][0], "dm": None}]))
    head = text[text.index("In short") : text.index("Measured results")]
    assert "7.2 ± 0.4 % as received" in head


def test_calculated_values_stand_with_their_margins(whole: str) -> None:
    assert "TDN from ADF 58.4 ± 1.0 %" in whole and "(RFV) 92 ± 4" in whole


def test_the_margins_say_what_they_come_from_and_an_old_report_has_none(whole: str) -> None:
    # JCGM 100:2008, 7.2.1: say how the uncertainty was made up. The parts of the body, in their columns.
    said = whole[whole.index("Margin of") :]
    assert "crude protein 0.52 15 27 58 0 0 sampling: default laboratory: own: 24 runs of 12 samples" in said
    assert "SDs from" not in words({key: part for key, part in BODY.items() if key != "margins"})


def test_nothing_known_still_makes_a_report() -> None:
    text = words(EMPTY)
    assert "Nothing was measured." in text and "No custody is on record" in text and "None" not in text


def test_letters_print_or_are_spelled_and_markup_is_only_text() -> None:
    text = words(
        make_body(lot={"field": "Zoë’s <b>field & meadow, ≥ 40 – 45 °C", "storage": "under a tarp ½"})
    )
    assert "Zoë’s <b>field & meadow, >= 40 – 45 °C" in text and "under a tarp ½" in text


def test_a_text_too_long_for_a_page_is_cut_and_says_so() -> None:
    assert "(cut here; the record has it all)" in words(BODIES["long words"])


def test_the_same_body_gives_the_same_bytes(tmp_path: Path) -> None:
    lot_report(tmp_path / "report.pdf", BODY)
    assert (tmp_path / "report.pdf").read_bytes() == printed(BODY) == printed(make_body())
