"""Issuing a report, and issuing it anew."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import select

from tests.makers import act, at, done, kinds, life, make_tag, refused, standing
from tests.result_files import (
    WET,
    Bench,
    body_of,
    release,
    released,
    result,
    row,
    taken_in,
    wet_row,
    wet_written,
    written,
)
from tracker.lookups.issued_reports import issued_report
from tracker.steps.amend import amend
from tracker.steps.bag_cores import replace_tag
from tracker.steps.hold import hold, lift_hold
from tracker.storage.results import ReportVersion


def scanned(bench: Bench, **cells: str) -> None:
    """The first sample's scan is in."""
    taken_in(bench, written([row(bench.codes[0], **cells)]))


def weight_corrected(bench: Bench, grams: str = "241.1", minute: float = 1510) -> None:
    """The first sample's dry weight was misread, and Carl says what it was."""
    (seq,) = [event.seq for event in life(bench.season, bench.samples[0]) if event.kind == "dry weighed"]
    done(bench.season, lambda s: amend(s, seq, {"grams": grams}, act(s, "carl", minute), reason="misread"))


def snapshot(bench: Bench, version: int) -> dict[str, Any]:
    with bench.season.read() as session:
        return issued_report(session, bench.samples[0].id, version).body


def changed(body: dict[str, Any], part: str = "results") -> list[str]:
    return [one["code"] for one in body[part] if one["changed"]]


@pytest.mark.parametrize(
    ("who", "name", "role"), [("lena", "Lena Roy", "lead"), ("ana", "Ana Field", "analyst")]
)
def test_the_report_is_numbered_by_the_tag_and_names_who_answers_for_it(
    bench: Bench, who: str, name: str, role: str
) -> None:
    # ISO/IEC 17025:2017, 7.8.2.1 o: the report names the person authorising it.
    scanned(bench)
    report = released(bench, bench.samples[0], who=who, minute=1500)
    assert (report.number, report.version, report.issued_by) == (f"R-{bench.codes[0]}-v1", 1, who)
    assert report.issued_at == at(1500)
    said = dict(report.body["report"])
    # What makes the body's hash in the log impossible to guess it from.
    assert len(bytes.fromhex(said.pop("salt"))) == 16
    assert said == {
        "number": f"R-{bench.codes[0]}-v1",
        "version": 1,
        "replaces": None,
        "reason": "",
        "issued_at": "2026-06-21T10:00:00-05:00",
        "issued_by": name,
        "issued_by_role": role,
    }
    event = life(bench.season, bench.samples[0])[-1]
    assert (event.kind, event.data["report"], event.event_id) == ("reported", report.number, report.event_id)
    assert standing(bench.season, bench.samples[0]).state == "reported"


def test_what_is_issued_is_what_the_lookup_said(bench: Bench) -> None:
    scanned(bench)
    said = body_of(bench, bench.samples[0])
    released(bench, bench.samples[0])
    kept = snapshot(bench, 1)
    issued = ("report", "interpretation")
    assert {key: value for key, value in kept.items() if key not in issued} == {
        key: value for key, value in said.items() if key not in issued
    }
    asked = said["interpretation"]
    assert {key: kept["interpretation"][key] for key in asked if key != "released_by"} == {
        key: value for key, value in asked.items() if key != "released_by"
    }
    assert changed(kept) == [] and changed(kept, "derived") == []


@pytest.mark.parametrize("who", ["tove", "carl"])
def test_neither_a_technician_nor_a_clerk_releases(bench: Bench, who: str) -> None:
    scanned(bench)
    answer = refused(bench.season, lambda s: release(s, bench.samples[0], who=who), by=who)
    assert (answer.code, answer.field) == ("not-allowed", "by")


def test_without_an_analysis_there_is_nothing_to_report(bench: Bench) -> None:
    answer = refused(bench.season, lambda s: release(s, bench.samples[0]))
    assert answer.code == "nothing-to-report"


def test_a_dry_matter_alone_is_nothing_to_report(bench: Bench) -> None:
    scanned(bench, CP_pc_DM="", ADF_pc_DM="", NDF_pc_DM="")
    assert refused(bench.season, lambda s: release(s, bench.samples[0])).code == "nothing-to-report"


def test_on_hold_nothing_is_released_until_somebody_decided(bench: Bench) -> None:
    sample = bench.samples[0]
    scanned(bench, GH="4.0")
    assert refused(bench.season, lambda s: release(s, sample)).code == "on-hold"
    decision = "Wet chemistry agrees."
    done(bench.season, lambda s: lift_hold(s, sample, act(s, "ana", 1490), reason=decision))
    report = released(bench, sample)
    # The remark and the decision both stand on the report.
    assert [remark["code"] for remark in report.body["remarks"]] == ["outside-calibration"]
    assert any(decision in step["words"] for step in report.body["custody"])


def test_a_hold_put_on_by_a_person_stops_the_report_too(bench: Bench) -> None:
    sample = bench.samples[0]
    scanned(bench)
    done(bench.season, lambda s: hold(s, sample, act(s, "carl", 1450), reason="label unclear"))
    answer = refused(bench.season, lambda s: release(s, sample))
    assert answer.code == "on-hold" and "label unclear" in answer.message


@pytest.mark.parametrize("reason", ["", "  "])
def test_a_second_version_wants_a_reason(bench: Bench, reason: str) -> None:
    scanned(bench)
    released(bench, bench.samples[0])
    answer = refused(bench.season, lambda s: release(s, bench.samples[0], minute=1520, reason=reason))
    assert answer.code == "reason-missing"


def test_a_corrected_weight_changes_the_next_report_and_leaves_the_first_as_it_was(bench: Bench) -> None:
    scanned(bench)
    released(bench, bench.samples[0])
    before = snapshot(bench, 1)
    weight_corrected(bench)
    second = released(bench, bench.samples[0], minute=1520, reason=" The dry weight was misread. ")
    assert snapshot(bench, 1) == before
    # By hand: (251.1 - 18.6) / 250.0 = 93.0 %, and 0.93 x 93.0 = 86.49 % in all; after the correction
    # (241.1 - 18.6) / 250.0 = 89.0 %, and 0.89 x 93.0 = 82.77 %. CP 18.6 of that is 16.09, then 15.40.
    assert [before["dry_matter"][key] for key in ("dry_g", "partial", "total")] == ["251.1", "93.00", "86.5"]
    after = snapshot(bench, 2)
    assert [after["dry_matter"][key] for key in ("dry_g", "partial", "total")] == ["241.1", "89.00", "82.8"]
    assert [result(body, "CP")["ar"] for body in (before, after)] == ["16.1", "15.4"]
    assert (second.number, second.version) == (f"R-{bench.codes[0]}-v2", 2)
    assert after["report"]["replaces"] == f"R-{bench.codes[0]}-v1"
    assert after["report"]["reason"] == second.reason == "The dry weight was misread."
    assert kinds(bench.season, bench.samples[0]).count("reported") == 2


def test_the_second_version_marks_the_rows_that_say_something_else_and_no_other(bench: Bench) -> None:
    scanned(bench)
    released(bench, bench.samples[0])
    weight_corrected(bench)
    released(bench, bench.samples[0], minute=1520, reason="misread")
    # As received follows the dry matter; what is calculated on dry matter does not.
    assert changed(snapshot(bench, 2)) == ["CP", "ADF", "NDF"]
    assert changed(snapshot(bench, 2), "derived") == []


def test_what_is_new_in_the_second_version_is_marked(bench: Bench) -> None:
    # The scan and the laboratory both find 90.0 % in the portion, so nothing else moves.
    scanned(bench, DM_pc="90.0")
    released(bench, bench.samples[0])
    taken_in(bench, wet_written([wet_row(bench.codes[0], CP="", NDF="")]), source=WET, minute=1510)
    released(bench, bench.samples[0], minute=1520, reason="nitrate was asked for")
    assert changed(snapshot(bench, 2)) == ["NO3-N"]


def test_each_version_is_compared_with_the_one_before(bench: Bench) -> None:
    scanned(bench)
    released(bench, bench.samples[0])
    weight_corrected(bench)
    released(bench, bench.samples[0], minute=1520, reason="misread")
    released(bench, bench.samples[0], minute=1530, reason="the address was wrong")
    third = snapshot(bench, 3)
    assert third["report"]["replaces"] == f"R-{bench.codes[0]}-v2"
    assert changed(third) == []


def test_the_number_follows_the_tag_that_the_bag_carries_and_the_old_one_is_named(bench: Bench) -> None:
    sample = bench.samples[0]
    scanned(bench)
    first = released(bench, sample)
    fresh = done(bench.season, lambda s: make_tag(s, sample.lot_id))
    done(bench.season, lambda s: replace_tag(s, sample, fresh, act(s, "carl", 1510), reason="torn"))
    second = released(bench, sample, minute=1520, reason="new tag")
    assert second.number == f"R-{fresh}-v2"
    assert second.body["report"]["replaces"] == first.number


def test_a_refused_report_takes_no_number(bench: Bench) -> None:
    scanned(bench)
    refused(bench.season, lambda s: release(s, bench.samples[0], who="tove"))
    assert released(bench, bench.samples[0]).version == 1
    with bench.season.read() as session:
        assert len(session.scalars(select(ReportVersion)).all()) == 1
