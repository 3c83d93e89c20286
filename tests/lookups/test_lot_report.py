"""What a lot's report says."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from labels import payload
from tests.makers import act, done, life, make_plan, make_signed_away
from tests.papers.report_bodies import BODY
from tests.result_files import (
    SETTINGS,
    WET,
    Bench,
    body_of,
    released,
    result,
    row,
    taken_in,
    wet_row,
    wet_written,
    written,
)
from tracker.lookups.lot_report import report_body
from tracker.papers.lot_report import lot_report
from tracker.steps.amend import amend
from tracker.steps.core_lot import core_lot
from tracker.steps.hand_over import store
from tracker.steps.receive import receive
from tracker.steps.set_practice import set_practice
from tracker.storage.coring import Sample, plan_in_force, sample_with_lot
from tracker.storage.engine import Database
from tracker.storage.people import party

DOCS = Path(__file__).parents[2] / "docs" / "report.md"


def scanned(bench: Bench, **cells: str) -> dict[str, Any]:
    """What the first sample's report says once its scan is in."""
    taken_in(bench, written([row(bench.codes[0], **cells)]))
    return body_of(bench, bench.samples[0])


def analysed(bench: Bench, **cells: str) -> dict[str, Any]:
    """The same for an outside laboratory's analysis."""
    taken_in(bench, wet_written([wet_row(bench.codes[0], **cells)]), source=WET)
    return body_of(bench, bench.samples[0])


def parts(value: Any) -> list[Any]:
    """Everything in a body that is no mapping and no list."""
    if isinstance(value, dict):
        return [one for inner in value.values() for one in parts(inner)]
    if isinstance(value, list):
        return [one for inner in value for one in parts(inner)]
    return [value]


def test_the_report_has_the_keys_that_its_page_describes(bench: Bench) -> None:
    keys = re.findall(
        r"`(\w+)`", "".join(re.findall(r"^\| (`.*?) \|", DOCS.read_text("utf-8"), re.MULTILINE))
    )
    assert len(keys) > 10
    scanned(bench)
    assert set(released(bench, bench.samples[0]).body) == set(keys)


@pytest.mark.parametrize("name", sorted(BODY))
def test_the_report_has_whatever_the_paper_reads(bench: Bench, name: str) -> None:
    scanned(bench, NDF_pc_DM="62.0", ADF_pc_DM="45.0")
    analysed(bench, CP="", NDF="", NO3="3000")
    body = released(bench, bench.samples[0]).body
    printed, found = BODY[name], body[name]
    if isinstance(printed, dict):
        assert set(printed) <= set(found)
    elif printed and isinstance(printed[0], dict):
        wanted = set.intersection(*(set(one) for one in printed))
        assert found and all(wanted <= set(one) for one in found)
    else:
        assert isinstance(found, list)


def test_the_report_is_plain_text_all_through_and_can_be_printed(bench: Bench) -> None:
    scanned(bench)
    body = released(bench, bench.samples[0]).body
    assert {type(one) for one in parts(body)} <= {str, int, bool, type(None)}
    assert json.loads(json.dumps(body)) == body
    paper = io.BytesIO()
    assert lot_report(paper, body) >= 1
    assert paper.getvalue().startswith(b"%PDF")


def test_programme_customer_lot_and_sample_are_named(bench: Bench) -> None:
    body = scanned(bench)
    assert body["programme"] == {
        "name": "Larkmoor Hay Testing Programme",
        "address": "1 Mill Lane",
        "phone": "555-0142",
    }
    assert (body["customer"]["name"], body["customer"]["place"]) == ("Oda Meadow", "Upper Mill")
    lot = body["lot"]
    assert (lot["field"], lot["cutting"], lot["forage"], lot["harvested"]) == (
        "Long field",
        2,
        "alfalfa",
        "2026-06-01",
    )
    # By hand: 118 bales of 61 lb are 7198 lb, 3.6 short tons of 2000 lb.
    assert (lot["bale_count"], lot["bale_mass"], lot["short_tons"]) == (118, "61", "3.6")
    assert body["sample"] == {
        "code": payload.shown(payload.read_code(bench.codes[0])),
        "number": 1,
        "sampled_at": "2026-06-20T10:00:00-05:00",
        "received_at": "2026-06-20T13:00:00-05:00",
        "received_condition": "dry",
        "tested_from": "2026-06-20T13:11:00-05:00",
        "tested_to": "2026-06-21T06:30:00-05:00",
    }


def test_a_scan_is_turned_to_the_hay_as_received_by_the_total_dry_matter(bench: Bench) -> None:
    body = scanned(bench)
    # By hand: partial (251.1 - 18.6) / (268.6 - 18.6) = 93.0 %; total 93.0 x 93.0 / 100 = 86.49 %.
    dry = body["dry_matter"]
    assert [dry[key] for key in ("fresh_net_g", "dry_net_g", "partial", "lab", "total")] == [
        "250.0",
        "232.5",
        "93.00",
        "93.0",
        # The margin of the whole lot is near a point: a second decimal would say nothing.
        "86.5",
    ]
    # CP 18.6 x 0.8649 = 16.09, ADF 31.0 x 0.8649 = 26.81, NDF 40.0 x 0.8649 = 34.60.
    found = {one["code"]: (one["dm"], one["ar"], one["unit"]) for one in body["results"]}
    assert found == {"CP": ("18.6", "16.1", "%"), "ADF": ("31.0", "26.8", "%"), "NDF": ("40.0", "34.6", "%")}


def test_values_as_received_are_turned_to_dry_matter_by_the_portions_own(bench: Bench) -> None:
    body = analysed(bench)
    # By hand, with 90.0 % in the portion: CP 180 g/kg = 18.0 % / 0.900 = 20.0; NDF 36.0 / 0.900 = 40.0;
    # nitrate nitrogen 450 / 0.900 = 500 mg/kg. Total DM 93.0 x 0.900 = 83.70 %, of which CP is 16.74 and nitrate
    # nitrogen 418.5, rounded half up.
    assert body["dry_matter"]["total"] == "83.7"
    found = {one["code"]: (one["dm"], one["ar"], one["unit"]) for one in body["results"]}
    assert found == {
        "CP": ("20.0", "16.7", "%"),
        "NDF": ("40.0", "33.5", "%"),
        "NO3-N": ("500", "419", "mg/kg"),
    }
    given = result(body, "CP")
    assert [given[key] for key in ("value_given", "unit_given", "basis_given")] == [
        "180",
        "g/kg",
        "as received",
    ]
    assert (given["outside"], given["source"], given["method"]) == (True, WET, "wet chemistry")


def test_each_analysis_is_turned_by_its_own_dry_matter_and_never_by_anothers(bench: Bench) -> None:
    # The scan's portion held 93.0 %, the laboratory's 90.0 %, in whichever order they came in.
    taken_in(bench, wet_written([wet_row(bench.codes[0], NDF="")]), source=WET)
    body = scanned(bench, CP_pc_DM="")
    assert body["dry_matter"]["lab"] == "93.0"
    # With 93.0 the 18.0 % as received would be 19.4.
    assert result(body, "CP")["dm"] == "20.0"
    assert result(body, "NDF")["dm"] == "40.0"


def test_a_value_as_received_without_a_dry_matter_is_given_and_not_turned(bench: Bench) -> None:
    body = analysed(bench, DM="")
    cp = result(body, "CP")
    assert (cp["dm"], cp["ar"], cp["value_given"], cp["basis_given"]) == (None, None, "180", "as received")
    assert body["dry_matter"]["total"] is None
    assert result(body, "NFC", "derived")["missing"]
    assert cp["flags"] == ["CP, NDF, NO3-N could not be judged: not on dry matter."]


def test_a_value_below_what_can_be_measured_says_so(bench: Bench) -> None:
    assert result(scanned(bench, CP_pc_DM="<3.0"), "CP")["qualifier"] == "<"


def test_calculated_values_name_formula_and_source_or_what_is_missing(bench: Bench) -> None:
    body = scanned(bench)
    # By hand: DDM 88.9 - 0.779 x 31.0 = 64.751; DMI 120 / 40.0 = 3.0; RFV 64.751 x 3 / 1.29 = 150.6 (Utah State).
    assert result(body, "DDM", "derived")["value"] == "64.8"
    rfv = result(body, "RFV", "derived")
    assert (rfv["value"], rfv["formula"]) == ("151", "DDM x DMI / 1.29") and "Utah" in rfv["source"]
    nfc = result(body, "NFC", "derived")
    assert (nfc["value"], nfc["missing"]) == (None, ["EE", "ash"])


def test_distances_and_dry_matter_are_no_constituents_of_hay(bench: Bench) -> None:
    body = scanned(bench, GH="4.0")
    assert [one["code"] for one in body["results"]] == ["CP", "ADF", "NDF"]
    (remark,) = body["remarks"]
    assert (remark["code"], remark["level"]) == ("outside-calibration", "hold")


def test_a_remark_stands_beside_the_values_it_is_about(bench: Bench) -> None:
    body = scanned(bench, CP_pc_DM="26.0")
    assert len(result(body, "CP")["flags"]) == 1 and result(body, "NDF")["flags"] == []


def test_nitrate_is_cautioned_beside_the_form_that_was_measured(bench: Bench) -> None:
    body = analysed(bench, NO3="3000")
    assert "NO3-N" in {caution["about"] for caution in body["cautions"]}
    assert all(caution["words"] and caution["source"] for caution in body["cautions"])


def cored(bench: Bench, taken: int) -> dict[str, Any]:
    """What a report would say of a lot of 118 bales of which so many cores were taken, planned were 20."""

    def step(session: Session) -> Sample:
        sample = make_plan(session, field="Far field")
        by = act(session, "tove", 60)
        core_lot(session, sample, by, cores_taken=str(taken), deviations=["rain came"])
        return sample

    found: dict[str, Any] = body_of(bench, done(bench.season, step))["cored"]
    return found


def spread(bench: Bench) -> None:
    """The programme's own: NDF differs more between bales than usual."""
    done(
        bench.season,
        lambda s: set_practice(s, "ndf_sd_between", "3", act(s, "lena", 0), source="ours", reason="measured"),
    )


@pytest.mark.parametrize(
    ("taken", "cp", "ndf"),
    [
        # By hand: CP 1.96 sqrt(0.5² (1/n - 1/118) + 0.62² / n + 0.2²), the SDs of the common practice, and NDF
        # 1.96 sqrt(3² (1/n - 1/118) + 1.56² / n + 0.75²).
        # n = 20: 1.96 sqrt(0.01038 + 0.01922 + 0.04) = 0.517; 1.96 sqrt(0.3737 + 0.1217 + 0.5625) = 2.02.
        (20, "0.5", "2.0"),
        # n = 17: 1.96 sqrt(0.01259 + 0.02261 + 0.04) = 0.537; 1.96 sqrt(0.4531 + 0.1432 + 0.5625) = 2.11.
        (17, "0.5", "2.1"),
        # n = 8: 1.96 sqrt(0.02913 + 0.04805 + 0.04) = 0.671; 1.96 sqrt(1.0487 + 0.3042 + 0.5625) = 2.71.
        (8, "0.7", "2.7"),
    ],
)
def test_the_margin_comes_from_the_cores_really_taken(bench: Bench, taken: int, cp: str, ndf: str) -> None:
    spread(bench)
    found = cored(bench, taken)
    assert (found["cores"], found["cp_margin"], found["ndf_margin"]) == (taken, cp, ndf)


def test_the_cores_of_each_bale_count_where_they_were_noted(bench: Bench) -> None:
    # Two cores from each of 4 bales say less of 118 than one from each of 8:
    # NDF 1.96 sqrt(9 (1/4 - 1/118) + 2.4336/8 + 0.5625) = 1.96 sqrt(2.1737 + 0.3042 + 0.5625) = 3.42.
    spread(bench)

    def step(session: Session) -> Sample:
        sample = make_plan(session, field="Far field")
        picks = [pick["bale"] for pick in plan_in_force(session, sample.id).body["picks"]][:4]
        bales = {int(bale): 2 for bale in picks}
        core_lot(session, sample, act(session, "tove", 60), bales=bales, deviations=["rain came"])
        return sample

    found = body_of(bench, done(bench.season, step))["cored"]
    assert (found["cores"], found["ndf_margin"]) == (8, "3.4")


@pytest.mark.parametrize("noted", [True, False])
def test_a_corrected_count_of_cores_moves_the_margin(bench: Bench, noted: bool) -> None:
    spread(bench)

    def step(session: Session) -> Sample:
        sample = make_plan(session, field="Far field")
        picks = plan_in_force(session, sample.id).body["picks"]
        bales = {int(pick["bale"]): int(pick["cores"]) for pick in picks} if noted else None
        core_lot(session, sample, act(session, "tove", 60), bales=bales)
        return sample

    sample = done(bench.season, step)
    assert body_of(bench, sample)["cored"]["ndf_margin"] == "2.0"
    seq = life(bench.season, sample)[-1].seq
    done(bench.season, lambda s: amend(s, seq, {"cores_taken": "17"}, act(s, "tove", 90), reason="counted"))
    found = body_of(bench, sample)["cored"]
    assert (found["cores"], found["ndf_margin"]) == (17, "2.1")


def test_the_margin_stands_beside_its_constituent(bench: Bench) -> None:
    body = scanned(bench)
    # By hand as above, with the usual spread of NDF: 1.96 sqrt(1.25² (1/20 - 1/118) + 1.56²/20 + 0.75²) = 1.70;
    # ADF 1.96 sqrt(1.06² (1/20 - 1/118) + 1.33²/20 + 0.5²) = 1.96 sqrt(0.0466 + 0.0884 + 0.25) = 1.22.
    assert {one["code"]: one["margin"] for one in body["results"]} == {
        "CP": "0.5",
        "ADF": "1.2",
        "NDF": "1.7",
    }


def test_what_is_not_cored_yet_has_no_margin(bench: Bench) -> None:
    sample = done(bench.season, lambda s: make_plan(s, field="Far field"))
    body = body_of(bench, sample)
    assert (body["cored"], body["results"], body["sample"]["code"]) == (None, [], None)


def test_a_late_scan_stands_in_its_place_and_is_said_to_be_late(bench: Bench) -> None:
    sample = bench.samples[0]
    done(bench.season, lambda s: store(s, sample, party(s, "store"), act(s, "carl", 1350)))
    body = scanned(bench)
    *_, scan, stored = body["custody"]
    assert (scan["kind"], scan["late"], scan["at"]) == ("scanned", True, "2026-06-21T06:30:00-05:00")
    assert (stored["kind"], stored["late"]) == ("stored", False)
    assert scan["number"] > stored["number"]


def test_the_lookup_reads_and_writes_nothing(bench: Bench) -> None:
    taken_in(bench, written([row(bench.codes[0])]))
    with bench.season.read() as session:
        report_body(session, sample_with_lot(session, bench.samples[0].id), SETTINGS)
        assert not session.new and not session.dirty


def test_a_bag_from_a_hot_stack_brings_the_usual_caution_beside_the_lot(season: Database) -> None:
    with season.act("receive", "carl", {}) as session:
        sample = make_signed_away(session, field="Hot field")
        receive(session, sample, act(session, "carl", 240), condition=["dry"], temperature_c="82")
        body = report_body(session, sample_with_lot(session, sample.id), SETTINGS)
    # Mississippi State Univ.: from 175 F (79 C) hot spots are likely.
    (caution,) = [one for one in body["cautions"] if one["topic"] == "hot hay"]
    assert caution["about"] == "lot" and "hot spots" in caution["words"]
