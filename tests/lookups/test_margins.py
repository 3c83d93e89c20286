"""Margins of what was measured and calculated, and where their SDs come from."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal as D
from math import sqrt
from typing import Any

import pytest
from sqlalchemy.event import listen
from sqlalchemy.orm import Session

from tests.databases import upgraded_again
from tests.makers import act, done, make_ground, make_plan
from tests.result_files import (
    WET,
    Bench,
    body_of,
    parked,
    released,
    result,
    row,
    taken_in,
    unknown_code,
    wet_row,
    wet_written,
    written,
)
from tracker.domain.error_budget import Budget, Margin
from tracker.lookups.grounds import grounds_of
from tracker.lookups.margins import hay_budget
from tracker.lookups.planned import planned
from tracker.lookups.report_margins import budget_of
from tracker.lookups.sds_in_force import sds_in_force
from tracker.steps.answer_parked import take_in
from tracker.steps.append_event import standing_of
from tracker.steps.core_lot import core_lot
from tracker.steps.set_practice import set_practice
from tracker.storage.analysis import repeated_analyses
from tracker.storage.coring import Sample, sample_with_lot


def budget(bench: Bench, sample: Sample) -> Budget:
    with bench.season.read() as session:
        return hay_budget(grounds_of(session, sample_with_lot(session, sample.id))).budget


def margins(bench: Bench, sample: Sample) -> Mapping[str, Margin]:
    return budget(bench, sample).margins


def set_rule(bench: Bench, rule: str, value: str) -> None:
    done(
        bench.season,
        lambda s: set_practice(s, rule, value, act(s, "lena", 0), source="papers", reason="known"),
    )


def scanned(bench: Bench, place: int = 0, name: str = "run.csv", **cells: str) -> None:
    """One more scan of a sample."""
    taken_in(bench, written([row(bench.codes[place], **cells)]), name=name)


def test_every_measured_and_calculated_value_of_a_scan_has_its_margin(bench: Bench) -> None:
    scanned(bench)
    body = body_of(bench, bench.samples[0])
    assert {one["code"]: (one["margin"], one["ar_margin"]) for one in body["results"]} == {
        # By hand in test_lot_report for dry matter; as received it is 0.8649 of that, with dry matter's own on top:
        # CP sqrt((0.8649 x 0.517)² + (0.186 x 0.77)²) = 0.47.
        "CP": ("0.5", "0.5"),
        "ADF": ("1.2", "1.1"),
        "NDF": ("1.7", "1.5"),
    }
    assert all(one["margin"] for one in body["derived"] if one["value"] is not None)
    assert all(one["margin"] is None for one in body["derived"] if one["value"] is None)


def test_the_total_dry_matter_of_the_lot_takes_in_cores_and_laboratory(bench: Bench) -> None:
    scanned(bench)
    dry = body_of(bench, bench.samples[0])["dry_matter"]
    # By hand: 1.96 sqrt(0.8² (1/20 - 1/118) + 1.0²/20 + (0.93 x 0.3)² + (0.93 x 0.02)²) = 1.96 sqrt(0.0266 + 0.05 +
    # 0.0778 + 0.0003) = 0.77; the weighing alone stays beside it.
    assert (dry["total"], dry["total_margin"], dry["weighing_margin"]) == ("86.5", "0.8", "0.07")
    assert dry["covers"] == "the cores taken, the laboratory and the weighing"


def test_values_as_received_carry_the_portions_dry_matter(bench: Bench) -> None:
    taken_in(bench, wet_written([wet_row(bench.codes[0])]), source=WET)
    found = margins(bench, bench.samples[0])
    # By hand: sampling 0.5² (1/20 - 1/118) + 0.62²/20 = 0.02960, laboratory 0.2², dry matter (20.0 / 90 x 0.3)².
    assert float(found["CP"].u) == pytest.approx(sqrt(0.0296 + 0.04 + 0.00444), abs=2e-4)
    # Nitrate nitrogen 500 mg/kg: bales 15 %, cores 20 %, Horwitz 0.02 (0.0005)^-0.1505 = 6.28 %, dry matter 0.33 %:
    # 500 sqrt(0.15² 0.04153 + 0.2² / 20 + 0.0628² + 0.0033²) = 41.4.
    assert float(found["NO3-N"].u) == pytest.approx(41.4, abs=0.2)


def test_before_coring_or_results_nothing_is_claimed(bench: Bench) -> None:
    def step(session: Session) -> Sample:
        return make_plan(session, field="Far field")

    planned = done(bench.season, step)
    assert margins(bench, planned) == {}
    assert body_of(bench, planned)["margins"]["rows"] == []


def test_fewer_cores_widen_every_margin(bench: Bench) -> None:
    def step(session: Session) -> Any:
        few, many = (
            make_plan(session, field=name, bale_count="118")
            for name in ("Few cores field", "Many cores field")
        )
        core_lot(session, few, act(session, "tove", 60), cores_taken="8", deviations=["rain came"])
        core_lot(session, many, act(session, "tove", 60))
        return few, many

    few, many = done(bench.season, step)
    assert body_of(bench, few)["cored"]["cp_margin"] > body_of(bench, many)["cored"]["cp_margin"]


def test_with_no_repeats_the_defaults_are_used_and_the_report_says_so(bench: Bench) -> None:
    scanned(bench)
    said = body_of(bench, bench.samples[0])["margins"]
    assert {(one["sampling"], one["laboratory"]) for one in said["rows"]} == {("default", "default")}
    assert "it has no repeats of its own yet" in " ".join(said["words"])
    assert "no SEP has been set" in " ".join(said["words"])


def test_repeated_scans_teach_the_laboratorys_sd_and_the_report_says_from_how_many(bench: Bench) -> None:
    # By hand: CP 18.6 and 19.4 of each of two samples: s² = 0.8²/2 = 0.32 with 2 degrees of freedom, shrunk to
    # (10 x 0.04 + 2 x 0.32) / 12 = 0.08667, so s = 0.294.
    set_rule(bench, "sd_own_least", "2")
    for place in (0, 1):
        scanned(bench, place, f"a{place}.csv")
        scanned(bench, place, f"b{place}.csv", CP_pc_DM="19.4")
    with bench.season.read() as session:
        sds = sds_in_force(session)
    sd, dof = sds.lab_sd("CP", D(19), "bench NIR")
    assert float(sd) == pytest.approx(sqrt(0.086667), abs=1e-4) and dof == 12
    said = body_of(bench, bench.samples[0])["margins"]
    (cp,) = (one for one in said["rows"] if one["code"] == "CP")
    assert cp["laboratory"] == "own: 4 runs of 2 samples at bench NIR"
    assert cp["sampling"] == "default"
    assert any("own repeats: CP" in words and "scaled inverse chi-square" in words for words in said["words"])
    # Student's t with the effective degrees of freedom is wider than the normal's 1.96.
    found = margins(bench, bench.samples[0])["CP"]
    assert found.dof is not None and found.half_width / found.u > D("1.97")


def test_a_scan_and_an_outside_analysis_are_no_repeats(bench: Bench) -> None:
    # Two laboratories differ by more than either repeats itself.
    set_rule(bench, "sd_own_least", "1")
    scanned(bench)
    taken_in(bench, wet_written([wet_row(bench.codes[0])]), source=WET)
    with bench.season.read() as session:
        sds = sds_in_force(session)
    assert (sds.laboratory, sds.sampling) == ({}, {})


def test_a_single_scan_again_teaches_nothing_yet(bench: Bench) -> None:
    # sd_own_least: five repeats, our choice.
    scanned(bench)
    scanned(bench, name="again.csv", CP_pc_DM="19.4")
    with bench.season.read() as session:
        assert sds_in_force(session).laboratory == {}


def repeated(bench: Bench) -> list[int]:
    """The samples that analyses are compared of."""
    with bench.season.read() as session:
        return [row.sample_id for row in repeated_analyses(session)]


def test_a_parked_row_that_somebody_takes_in_is_a_repeat_as_well(bench: Bench) -> None:
    scanned(bench)
    taken_in(bench, written([row(unknown_code(1))]), name="again.csv")
    assert repeated(bench) == []
    (waiting,) = parked(bench)
    done(
        bench.season,
        lambda s: take_in(s, waiting.id, bench.codes[0], act(s, "ana", 1410), reason="the run list says so"),
    )
    assert repeated(bench) == [bench.samples[0].id] * 2


def test_repeats_are_found_without_looking_at_all_that_was_analysed_once(bench: Bench) -> None:
    scanned(bench)
    if bench.season.engine.dialect.name != "sqlite":
        pytest.skip("PostgreSQL chooses by how many rows there are, and a test has few")
    asked: list[tuple[str, Any]] = []
    listen(bench.season.engine, "before_cursor_execute", lambda *told: asked.append((told[2], told[3])))
    repeated(bench)
    questions = [one for one in asked if one[0].startswith("SELECT")]
    with bench.season.engine.connect() as connection:
        plans = [connection.exec_driver_sql(f"explain query plan {sql}", given) for sql, given in questions]
        steps = [str(step[3]) for plan in plans for step in plan]
    assert any("ix_sample_several" in step for step in steps), steps
    others = [step for step in steps if "ix_sample_several" not in step]
    assert not [step for step in others if step.startswith(("SCAN analysis", "SCAN sample "))], others


def test_a_season_from_before_knows_its_repeats_once_it_is_brought_up_to_date(bench: Bench) -> None:
    scanned(bench)
    scanned(bench, name="again.csv", CP_pc_DM="19.4")
    before = repeated(bench)
    with bench.season.engine.begin() as connection:
        for statement in ("drop table repeated_sample", "drop index ix_sample_several"):
            connection.exec_driver_sql(statement)
    upgraded_again(bench.season, "0017_repeats")
    assert repeated(bench) == before == [bench.samples[0].id] * 2


def test_a_scan_that_is_held_for_its_values_teaches_nothing(bench: Bench) -> None:
    set_rule(bench, "sd_own_least", "1")
    # GH 5 lies outside the calibration: that scan says nothing of how well the instrument repeats itself.
    scanned(bench)
    scanned(bench, name="b.csv", CP_pc_DM="22.6", GH="5.0")
    with bench.season.read() as session:
        assert sds_in_force(session).laboratory == {}


def test_two_composites_of_one_lot_teach_the_sampling(bench: Bench) -> None:
    def step(session: Session) -> list[tuple[int, str]]:
        once = make_ground(session, load="D-1", field="Twice cored")
        again = make_ground(session, load="D-2", sample=make_plan(session, once.lot_id))
        return [(sample.id, standing_of(session, sample).code or "") for sample in (once, again)]

    set_rule(bench, "sd_own_least", "1")
    (one, first), (_, second) = done(bench.season, step)
    taken_in(bench, written([row(first, CP_pc_DM="17.0"), row(second, CP_pc_DM="19.0")]))
    with bench.season.read() as session:
        sds = sds_in_force(session)
        sample = sample_with_lot(session, one)
    # By hand: s² = 2²/2 = 2.0; the laboratory's 0.04 off; by the default 0.5² (1/20 - 1/118) + 0.62²/20 = 0.02960
    # that is a ratio of 66.2. It counts (0.0296 / 0.0696)² = 0.181 degrees of freedom beside 10:
    # (10 + 0.181 x 66.2) / 10.181 = 2.16.
    own = sds.sampling["CP"]
    assert float(own.variance) == pytest.approx(2.16, abs=0.01) and own.own.values == 2
    between, _, dof = sds.field_sds("CP", D(18)) or (D(0), D(0), None)
    assert float(between) == pytest.approx(0.5 * sqrt(2.16), abs=0.003)
    assert dof == pytest.approx(10.18, abs=0.01)
    with bench.season.read() as session:
        card = planned(session, sample)
    # The card promises what the report will say: by hand, t(10.2 and the laboratory) x sqrt(2.16 x 0.0296 + 0.04).
    assert float(card.cp_margin) == pytest.approx(2.0 * sqrt(2.16 * 0.0296 + 0.04), abs=0.07)
    assert card.cp_margin > card.plan.cp_margin, "the plan's own margin stays as it was made"
    (cp,) = (row for row in body_of(bench, sample)["margins"]["rows"] if row["code"] == "CP")
    assert cp["sampling"] == "own: 2 composites of 1 lot, 1.47 times the default SD"


def test_a_rule_that_the_programme_sets_is_used_and_named(bench: Bench) -> None:
    scanned(bench)
    before = margins(bench, bench.samples[0])["CP"].half_width
    set_rule(bench, "cp_calibration_sd", "0.5")
    after = margins(bench, bench.samples[0])["CP"]
    # By hand: 1.96 sqrt(0.517² / 1.96² + 0.5²) = 1.11.
    assert float(before) == pytest.approx(0.517, abs=1e-3) and float(after.half_width) == pytest.approx(
        1.108, abs=2e-3
    )
    words = " ".join(body_of(bench, bench.samples[0])["margins"]["words"])
    assert "SEP" not in words


def test_feeding_can_take_the_errors_from_a_released_report_as_they_were(bench: Bench) -> None:
    scanned(bench)
    kept = budget_of(released(bench, bench.samples[0]).body)
    live = budget(bench, bench.samples[0])
    codes = ("CP", "NDF", "TDN-ADF-hay" if "TDN-ADF-hay" in live.values else "TDN-ADF-alfalfa", "total DM")
    for one in codes:
        ours, theirs = live.margin(one), kept.margin(one)
        assert ours is not None and theirs is not None
        assert float(theirs.half_width) == pytest.approx(float(ours.half_width), abs=2e-4)
        for other in codes:
            assert float(kept.correlation(one, other)) == pytest.approx(
                float(live.correlation(one, other)), abs=0.01
            )
    assert budget_of({"results": []}).values == {}


def test_a_value_below_a_limit_has_no_interval_about_it(bench: Bench) -> None:
    taken_in(bench, wet_written([wet_row(bench.codes[0], NO3="<100")]), source=WET)
    found = body_of(bench, bench.samples[0])
    nitrate = result(found, "NO3-N")
    assert nitrate["qualifier"] == "<" and (nitrate["margin"], nitrate["ar_margin"]) == (None, None)
