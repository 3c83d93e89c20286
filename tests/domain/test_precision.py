"""The margin of the mean of a lot."""

from __future__ import annotations

import random
from decimal import Decimal
from math import sqrt
from statistics import fmean

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.precision import cores_needed, even_shares, lot_mean_margin, practice_margin
from tracker.errors import Refused

NONE, ENDLESS = Decimal(0), 10**9
CP, NDF = Decimal("0.8"), Decimal("2.0")


def half_width(sd: Decimal, cores: int, bales: int, **rest: Decimal | int | None) -> float:
    """With all of the variation between bales, as the one-stage formula has it."""
    return float(lot_mean_margin(sd, NONE, bales, even_shares(cores, bales), **rest).half_width)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("sd", "cores", "bales", "margin"),
    # z s / sqrt(n) · sqrt(1 - n/N) with z 1.96, worked by hand (Cochran's form, from memory), for the SDs of
    # Collins 2000 as quoted by Undersander 2007: 0.8 for CP, 2.0 for NDF.
    [
        (CP, 20, ENDLESS, 0.351),
        (CP, 20, 100, 0.314),
        (CP, 20, 40, 0.248),
        (NDF, 20, ENDLESS, 0.877),
        (NDF, 20, 100, 0.784),
        (NDF, 20, 40, 0.620),
        (CP, 5, ENDLESS, 0.701),
        (CP, 12, ENDLESS, 0.453),
        (NDF, 15, ENDLESS, 1.012),
        (NDF, 30, ENDLESS, 0.716),
    ],
)
def test_the_margin_is_the_one_worked_by_hand(sd: Decimal, cores: int, bales: int, margin: float) -> None:
    assert half_width(sd, cores, bales) == pytest.approx(margin, abs=0.0006)


def test_twenty_cores_and_a_good_laboratory_give_the_published_half_percent_of_protein() -> None:
    # Shewmaker & Putnam, Avoid the common abuses of forage quality testing: at the very least ±0.5 % CP.
    # sqrt(0.8²/20 + 0.20²) = 0.268 with the replicate SD of NFTA method 3.4; x 1.96 = 0.526.
    assert half_width(CP, 20, ENDLESS, lab_sd=Decimal("0.20")) == pytest.approx(0.526, abs=0.001)
    assert float(practice_margin("cp", ENDLESS, [1] * 20).half_width) == pytest.approx(0.526, abs=0.002)


def test_the_two_parts_of_practice_make_up_the_published_sd() -> None:
    # Collins 2000: 0.8 for CP and 2.0 for NDF; without the laboratory's share at n 1 the SD is theirs.
    margin = practice_margin("ndf", ENDLESS, [1])
    assert sqrt(margin.between + margin.within) == pytest.approx(2.0, abs=0.005)
    margin = practice_margin("cp", ENDLESS, [1])
    assert sqrt(margin.between + margin.within) == pytest.approx(0.8, abs=0.005)


def test_coring_every_bale_leaves_what_cores_of_one_bale_differ_by() -> None:
    margin = lot_mean_margin(Decimal("0.5"), Decimal("0.62"), 20, [1] * 20)
    assert margin.between == 0
    assert margin.within == Decimal("0.62") ** 2 / 20
    assert float(margin.half_width) == pytest.approx(1.96 * 0.62 / sqrt(20), abs=0.0005)


def test_estimated_sds_take_student_instead_of_normal() -> None:
    # t table (standard): t(0.975, 11) = 2.201.
    known, estimated = half_width(CP, 12, ENDLESS), half_width(CP, 12, ENDLESS, dof=11)
    assert estimated / known == pytest.approx(2.201 / 1.960, rel=3e-4)


@pytest.mark.parametrize("dof", [None, 1, 4, 19, 200])
@pytest.mark.parametrize("confidence", [80, 90, 95, 99])
def test_quantiles_are_scipys(dof: int | None, confidence: int) -> None:
    law = scipy.stats.norm if dof is None else scipy.stats.t(dof)
    expected = law.ppf(0.5 + confidence / 200)
    margin = half_width(Decimal(1), 1, ENDLESS, confidence=Decimal(confidence), dof=dof)
    assert margin == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("sd", "wanted", "bales", "cores"),
    # n0 = (z s / E)², and n0 / (1 + n0/N) in a lot of N (Cochran, from memory), rounded up.
    [
        (CP, "0.5", ENDLESS, 10),
        (NDF, "1.0", ENDLESS, 16),
        (NDF, "1.5", ENDLESS, 7),
        (CP, "0.5", 55, 9),
        (NDF, "1.0", 55, 13),
    ],
)
def test_cores_needed_are_cochrans(sd: Decimal, wanted: str, bales: int, cores: int) -> None:
    assert cores_needed(sd, NONE, bales, Decimal(wanted)) == cores


def test_a_margin_narrower_than_the_laboratorys_own_is_out_of_reach() -> None:
    with pytest.raises(Refused) as caught:
        cores_needed(CP, NONE, 100, Decimal("0.3"), lab_sd=Decimal("0.2"))
    assert caught.value.code == "margin-out-of-reach"


@pytest.mark.parametrize(
    ("cores", "bales", "within", "confidence", "code"),
    [
        ([], 10, "1", "95", "not-a-count"),
        ([1, 0], 10, "1", "95", "not-a-count"),
        ([1, 1, 1], 2, "1", "95", "not-a-count"),
        ([1], 2, "-1", "95", "not-positive"),
        ([1], 2, "1", "100", "not-a-percentage"),
    ],
)
def test_what_cannot_be_sampled_is_refused(
    cores: list[int], bales: int, within: str, confidence: str, code: str
) -> None:
    with pytest.raises(Refused) as caught:
        lot_mean_margin(Decimal(1), Decimal(within), bales, cores, confidence=Decimal(confidence))
    assert caught.value.code == code


def test_the_margin_says_where_it_comes_from() -> None:
    margin = lot_mean_margin(Decimal(1), Decimal(1), ENDLESS, [1], lab_sd=Decimal(1))
    assert margin.words == (
        "±3.39 (95 %); of the variance 33 % between bales, 33 % within bales, 33 % in the laboratory"
    )


@given(st.integers(1, 60), st.integers(1, 60))
def test_more_cores_in_as_many_bales_never_widen_the_part_within(cores: int, bales: int) -> None:
    fewer = lot_mean_margin(CP, NDF, bales, even_shares(cores, bales))
    more = lot_mean_margin(CP, NDF, bales, even_shares(cores + 1, bales))
    assert more.within < fewer.within
    assert fewer.half_width >= Decimal("1.959") * fewer.within.sqrt() > 0


@given(st.integers(1, 200), st.integers(1, 50))
def test_even_shares_are_even_and_lose_no_core(cores: int, bales: int) -> None:
    shares = even_shares(cores, bales)
    assert sum(shares) == cores
    assert len(shares) == min(cores, bales)
    assert max(shares) - min(shares) <= 1


@pytest.mark.parametrize(("bales", "cores"), [(30, 20), (8, 20), (20, 20)])
def test_about_95_of_100_simulated_composites_lie_within_the_margin(bales: int, cores: int) -> None:
    # Bales drawn without replacement from one fixed lot whose SD (with N - 1) is exact, cores around their bale.
    rng = random.Random(20_260_614)
    lot = [rng.gauss(0, 1) for _ in range(bales)]
    mean = fmean(lot)
    sd = sqrt(sum((bale - mean) ** 2 for bale in lot) / (bales - 1))
    lot = [(bale - mean) / sd for bale in lot]
    shares = even_shares(cores, bales)
    width = float(lot_mean_margin(Decimal(1), Decimal("0.7"), bales, shares, Decimal("0.1")).half_width)
    rounds, inside = 4000, 0
    for _ in range(rounds):
        chosen = rng.sample(lot, len(shares))
        taken = sum(k * bale + rng.gauss(0, 0.7 * sqrt(k)) for bale, k in zip(chosen, shares, strict=True))
        inside += abs(taken / cores + rng.gauss(0, 0.1)) <= width
    # The share of 4,000 rounds has an SD of 0.0034.
    assert inside / rounds == pytest.approx(0.95, abs=0.012)
