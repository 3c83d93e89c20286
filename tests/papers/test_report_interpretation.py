"""The report's interpretation: a titled part of its own, what it rests on, who answers for it, and what changed."""

from __future__ import annotations

import io
from copy import deepcopy
from typing import Any

import pytest

from tests.makers import act, done
from tests.papers.reading import texts
from tests.papers.report_bodies import BODY
from tests.result_files import SETTINGS, Bench, bench, bench_template, row, taken_in, written
from tracker.lookups.issued_reports import issued_report
from tracker.lookups.lot_report import report_body
from tracker.papers.lot_report import lot_report
from tracker.steps.choose_analysis import choose_analysis
from tracker.steps.release_results import release_results
from tracker.storage.analysis import analyses_of
from tracker.storage.coring import sample_with_lot

__all__ = ["bench", "bench_template"]


def printed(body: dict[str, Any]) -> str:
    file = io.BytesIO()
    lot_report(file, body)
    return " ".join(texts(file.getvalue()))


def issued(
    bench: Bench, minute: float = 1500, *, reason: str = "", interpretation: bool = True, who: str = "lena"
) -> dict[str, Any]:
    """The body of the report that is issued of the first sample at that minute."""

    def step(session: Any) -> None:
        sample = sample_with_lot(session, bench.samples[0].id)
        body = report_body(session, sample, SETTINGS)
        release_results(
            session, sample, body, act(session, who, minute), reason=reason, interpretation=interpretation
        )

    done(bench.season, step)
    with bench.season.read() as session:
        return issued_report(session, bench.samples[0].id).body


def scanned(bench: Bench, minute: float = 1400, **changes: str) -> None:
    taken_in(bench, written([row(bench.codes[0], **changes)]), name=f"{minute}.csv", minute=minute)


def test_measured_results_and_interpretation_are_two_parts_with_two_titles(bench: Bench) -> None:
    # ISO/IEC 17025:2017, 7.8.7: opinions and interpretations are marked as such and their basis is documented.
    scanned(bench, CP_pc_DM="8.0", ADF_pc_DM="42.0", NDF_pc_DM="66.0")
    body = issued(bench)
    text = printed(body)
    measured, calculated, opinion = (
        text.index(title) for title in ("Measured results", "Calculated values", "Interpretation")
    )
    assert measured < calculated < opinion
    assert "It is an opinion, and no result of a test." in text
    assert "1,200-lb cows" not in text[:opinion], "nothing of the advice stands among the results"
    assert "What it rests on" in text
    for basis in (
        body["report"]["number"],
        "NRC, Nutrient Requirements of Beef Cattle",
        "Supplements:",
        "of this program",
    ):
        assert basis in text[opinion:], basis


@pytest.mark.parametrize(("who", "name"), [("lena", "Lena Roy, lead"), ("ana", "Ana Field, analyst")])
def test_an_authorised_person_answers_for_it_by_name(bench: Bench, who: str, name: str) -> None:
    scanned(bench)
    text = printed(issued(bench, who=who))
    assert f"Interpretation released by {name}, 21 Jun 2026, 10:00 (UTC-05:00)." in text


def test_what_is_not_released_is_not_printed(bench: Bench) -> None:
    scanned(bench)
    body = issued(bench, interpretation=False)
    assert body["interpretation"]["released_by"] is None and body["interpretation"]["answers"]
    text = printed(body)
    assert "None was released with this report." in text and "1,200-lb cows" not in text


def test_where_a_value_is_missing_the_part_says_which(bench: Bench) -> None:
    scanned(bench, NDF_pc_DM="")
    body = issued(bench)
    assert body["interpretation"]["answers"] == [] and body["interpretation"]["released_by"] is None
    assert "The report lacks NDF" in printed(body)


def test_a_later_version_marks_the_answers_that_say_something_else(bench: Bench) -> None:
    scanned(bench, CP_pc_DM="8.0", ADF_pc_DM="42.0", NDF_pc_DM="66.0")
    first = issued(bench)
    assert not any(one["changed"] for one in first["interpretation"]["answers"])
    same = issued(bench, 1550, reason="sent again")
    assert not any(one["changed"] for one in same["interpretation"]["answers"])
    scanned(bench, 1560, CP_pc_DM="12.5", ADF_pc_DM="34.0", NDF_pc_DM="52.0", Scanned="2026-06-21 11:00:00")

    def decided(session: Any) -> None:
        sample = sample_with_lot(session, bench.samples[0].id)
        second = max(one.id for one in analyses_of(session, sample.id))
        choose_analysis(session, sample, second, act(session, "lena", 1570), reason="the vial was turned")

    done(bench.season, decided)
    changed = issued(bench, 1600, reason="scanned anew")
    marked = {one["animals"]["words"]: one["changed"] for one in changed["interpretation"]["answers"]}
    assert marked["1,200-lb cows, 60 days after calving, milking"]
    assert changed["interpretation"]["report"] == changed["report"]["number"]
    text = printed(changed)
    assert "changed in this version" in text[text.index("Interpretation") :]
    # What was issued before comes out as it was.
    with bench.season.read() as session:
        kept = issued_report(session, bench.samples[0].id, 1).body
    assert printed(kept) == printed(first)


def test_a_report_of_before_prints_no_such_part() -> None:
    assert "interpretation" not in BODY
    assert "Interpretation" not in printed(deepcopy(BODY))


def test_page_and_report_say_the_same_of_one_answer(bench: Bench) -> None:
    scanned(bench, CP_pc_DM="8.0", ADF_pc_DM="42.0", NDF_pc_DM="66.0")
    for one in issued(bench)["interpretation"]["answers"]:
        assert one["said"]["sentence"] and one["said"]["add"]
        assert one["said"]["sentence"] in printed(issued_latest(bench))


def issued_latest(bench: Bench) -> dict[str, Any]:
    with bench.season.read() as session:
        return issued_report(session, bench.samples[0].id).body
