"""A sample's dry matter and where it comes from."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy.orm import Session

from tests.makers import act, done, life, made, make_dried, make_plan, make_received, make_weighed
from tests.result_files import NIR, WET, Bench, row, taken_in, wet_row, wet_written, written
from tracker.lookups.dry_matter import DryMatter, dry_matter_of
from tracker.steps.amend import amend
from tracker.steps.grind import grind
from tracker.steps.weigh_in import weigh
from tracker.storage.coring import Sample
from tracker.storage.custody import StandingRow


def dm(bench: Bench, sample: Sample | None = None) -> DryMatter:
    with bench.season.read() as session:
        return dry_matter_of(session, sample or bench.samples[0])


def scanned(bench: Bench, percent: str) -> DryMatter:
    """The first sample once its scan says so many percent of the ground portion."""
    taken_in(bench, written([row(bench.codes[0], DM_pc=percent)]))
    return dm(bench)


@pytest.mark.parametrize(
    ("maker", "weights", "partial"),
    [
        (make_plan, (None, None, None), None),
        (make_received, (None, None, None), None),
        (make_weighed, ("18.6", "268.6", None), None),
        (make_dried, ("18.6", "268.6", "251.1"), "93"),
    ],
)
def test_what_is_not_weighed_yet_is_not_known(
    bench: Bench, maker: Callable[..., Sample], weights: tuple[Any, ...], partial: str | None
) -> None:
    found = dm(bench, made(bench.season, maker, field="Far field"))
    assert tuple(None if one is None else str(one) for one in (found.tare, found.fresh, found.dry)) == weights
    # By hand: (251.1 - 18.6) / (268.6 - 18.6) = 232.5 / 250.0 = 93.0 %.
    assert (found.partial.value if found.partial else None) == (Decimal(partial) if partial else None)
    # Partial dry matter is never the total.
    assert (found.lab, found.total, found.lab_source) == (None, None, "")
    assert found.lines()[-1].startswith("Total dry matter is not known yet")


@pytest.mark.parametrize(
    ("lab", "total"),
    [
        # By hand: 93.0 x 93.0 / 100, 93.0 x 90.5 / 100, 93.0 x 88.25 / 100.
        ("93.0", "86.49"),
        ("90.5", "84.165"),
        ("88.25", "82.0725"),
    ],
)
def test_the_total_is_partial_times_lab(bench: Bench, lab: str, total: str) -> None:
    found = scanned(bench, lab)
    assert found.partial and found.total
    assert (str(found.lab), found.lab_source) == (lab, NIR)
    assert found.total.value == Decimal(total)
    assert found.remarks == ()


def test_the_plain_values_are_rounded_for_people_with_margins_never_made_smaller(bench: Bench) -> None:
    # By hand, balances of 0.1 g: u of one reading 0.1 / sqrt(12) = 0.02887 g. Fresh 100 x 232.5 / 250² x 0.02887 =
    # 0.01074, dry 100 / 250 x 0.02887 = 0.01155, tare 100 x 17.5 / 250² x 0.02887 = 0.00081: together 0.01579,
    # twice that is 0.0316, rounded up 0.04. Total: 0.93 x sqrt(0.01579² + 0.02887²) = 0.0306, twice 0.0612, up 0.07.
    assert scanned(bench, "93.0").as_dict() == {
        "tare_g": "18.6",
        "fresh_g": "268.6",
        "dry_g": "251.1",
        "fresh_net_g": "250.0",
        "dry_net_g": "232.5",
        "partial": "93.00",
        "partial_margin": "0.04",
        "lab": "93.0",
        "lab_source": NIR,
        "total": "86.49",
        "total_margin": "0.07",
        "covers": "weighing and the last digit of the lab's figure",
        "remarks": [],
    }


def test_the_same_is_said_in_sentences(bench: Bench) -> None:
    assert scanned(bench, "93.0").lines() == [
        "Tare 18.6 g, fresh 268.6 g, dry 251.1 g.",
        "Partial dry matter 232.5 / 250.0 g = 93.00 ± 0.04 % of the mass as received, after the oven.",
        f"Lab dry matter 93.0 % of the portion analysed ({NIR}).",
        "Total dry matter 86.49 ± 0.07 %; ± covers weighing and the last digit of the lab's figure.",
    ]


def test_a_corrected_weight_counts_and_not_the_one_it_corrects(bench: Bench) -> None:
    sample = bench.samples[0]
    scanned(bench, "93.0")
    (seq,) = [event.seq for event in life(bench.season, sample) if event.kind == "dry weighed"]
    done(bench.season, lambda s: amend(s, seq, {"grams": "241.1"}, act(s, "carl", 1450), reason="misread"))
    found = dm(bench)
    # By hand: (241.1 - 18.6) / 250.0 = 89.0 %; 89.0 x 93.0 / 100 = 82.77 %.
    assert found.partial and found.total
    assert (str(found.dry), found.partial.value, found.total.value) == ("241.1", 89, Decimal("82.77"))


def test_a_portion_that_travelled_does_not_change_the_dry_matter(bench: Bench) -> None:
    scanned(bench, "93.0")
    taken_in(bench, wet_written([wet_row(bench.codes[0], CP="", NDF="")]), source=WET)
    found = dm(bench)
    assert (str(found.lab), found.lab_source) == ("93.0", NIR)
    assert found.total and found.total.value == Decimal("86.49")


def test_a_portion_wetter_than_hay_is_after_the_oven_is_remarked(bench: Bench) -> None:
    # NFTA method 2.2: 3 to 15 % water left after the first oven.
    (remark,) = scanned(bench, "84.9").remarks
    assert remark.words.startswith("Lab dry matter 84.9 % is unlikely for ground hay")


def skipped_the_oven(session: Session) -> tuple[Sample, str]:
    """Dry enough to be ground as it came; its code."""
    sample = make_received(session, field="Far field")
    grind(session, sample, "coarse", act(session, "ana", 1260), mill="M1", dm="91")
    grind(session, sample, "fine", act(session, "ana", 1270), mill="M1", dm="91")
    return sample, session.get_one(StandingRow, sample.id).code or ""


@pytest.mark.parametrize(("lab", "remarked"), [("91.2", False), ("84.0", True)])
def test_hay_that_skipped_the_first_oven_has_the_labs_dry_matter_as_its_total(
    bench: Bench, lab: str, remarked: bool
) -> None:
    # NFTA method 2.2: hay at or above 85 % may be ground as it is.
    sample, code = done(bench.season, skipped_the_oven)
    taken_in(bench, written([row(code, DM_pc=lab)]))
    found = dm(bench, sample)
    assert found.partial is None and found.total
    assert found.total.value == Decimal(lab)
    assert [remark.code for remark in found.remarks] == (["one-step-too-moist"] if remarked else [])


def test_hay_weighed_fresh_and_never_dry_has_no_total(bench: Bench) -> None:
    def step(session: Session) -> tuple[Sample, str]:
        sample, code = skipped_the_oven(session)
        return sample, code

    def weighed(session: Session) -> Sample:
        sample = make_received(session, field="Far field")
        weigh(session, sample, "tare", "18.6", act(session, "carl", 250), balance="B1")
        weigh(session, sample, "fresh", "268.6", act(session, "carl", 251), balance="B1")
        return sample

    sample = done(bench.season, weighed)
    code = done(bench.season, lambda s: s.get_one(StandingRow, sample.id).code)
    taken_in(bench, wet_written([wet_row(code)]), source=WET)
    # What went into the first oven is no longer the hay as received.
    assert dm(bench, sample).total is None
