"""The budget of one sample, from the cores to the values as received and calculated."""

from __future__ import annotations

from decimal import Decimal as D
from math import sqrt

import numpy as np
import pytest

from tracker.domain.error_budget import BALES, CALIBRATION, CORES, LABORATORY, WEIGHING, Budget, Margin
from tracker.domain.hay_errors import (
    Cored,
    Measured,
    Moisture,
    hay_errors,
    received,
    with_derived,
    with_received,
)
from tracker.domain.own_sds import Sds
from tracker.domain.practice import COMMON, Practice
from tracker.domain.precision import practice_margin
from tracker.domain.results import COOL_GRASS, derive

HAY = {
    "CP": D("12.1"),
    "ADF": D("36.0"),
    "NDF": D("58.0"),
    "EE": D("2.4"),
    "ash": D("8.2"),
    "ADL": D("5.5"),
    "ADICP": D("0.8"),
    "NDICP": D("2.5"),
    "NDFD48": D("52.0"),
}
TWENTY = Cored((1,) * 20, 100)
OVENS = Moisture(D("86.49"), D("93.0"), D("0.02"), D("93.0"), "bench", "1")


def measured(scanned: bool = False, **given: D) -> list[Measured]:
    return [Measured(code, value, "bench", scanned=scanned) for code, value in {**HAY, **given}.items()]


def budget(practice: Practice = COMMON, cored: Cored = TWENTY, moisture: Moisture | None = OVENS) -> Budget:
    bare = hay_errors(measured(), cored, moisture, Sds(practice))
    return with_derived(with_received(bare), COOL_GRASS, practice)


def margin(of: Budget, code: str) -> Margin:
    found = of.margin(code)
    assert found is not None
    return found


@pytest.mark.parametrize("code", ["CP", "NDF"])
@pytest.mark.parametrize("cored", [TWENTY, Cored((1,) * 20, 20), Cored((3, 3, 2, 2), 40)])
def test_a_measured_value_has_the_margin_of_two_stage_sampling(code: str, cored: Cored) -> None:
    # Cochran's formula as domain.precision has it, checked there against hand-worked values.
    expected = practice_margin(code.lower(), cored.bales, cored.cores)
    found = margin(budget(cored=cored), code)
    assert float(found.half_width) == pytest.approx(float(expected.half_width), abs=1e-4)
    total = expected.between + expected.within + expected.lab
    assert float(found.parts.get(BALES, 0)) == pytest.approx(float(expected.between / total))
    assert float(found.parts[CORES]) == pytest.approx(float(expected.within / total))
    assert float(found.parts[LABORATORY]) == pytest.approx(float(expected.lab / total))


def test_total_dry_matter_takes_in_cores_laboratory_and_weighing() -> None:
    # By hand: 0.8² (1/20 - 1/100) + 1.0²/20 + (0.93 x 0.3)² + (0.93 x 0.02)² = 0.0256 + 0.05 + 0.07784 + 0.00035.
    found = margin(budget(), "total DM")
    assert float(found.u) == pytest.approx(sqrt(0.0256 + 0.05 + 0.077841 + 0.00034596), rel=1e-6)
    assert set(found.parts) == {BALES, CORES, LABORATORY, WEIGHING}


def test_protein_and_tdn_share_their_errors() -> None:
    # Leaf raises protein and lowers fiber, so what finds too much protein finds too much TDN.
    found = budget()
    assert found.correlation("CP", "NDF") < 0 < found.correlation("ADF", "NDF")
    assert found.correlation("CP", "TDN-sum") > 0
    assert found.correlation("NDF", "RFV") < D("-0.9")
    assert abs(found.correlation("TDN-sum", "NEm")) > D("0.999")


def test_without_leaf_the_constituents_err_apart() -> None:
    codes = ("cp", "ndf", "adf", "adl", "ash", "ee", "ndfd48")
    apart = budget(Practice({f"{code}_leaf": D(0) for code in codes}))
    assert apart.correlation("CP", "NDF") == 0
    # Of a constituent alone nothing changes.
    assert float(margin(apart, "CP").u) == pytest.approx(float(margin(budget(), "CP").u))


def test_the_leaf_correlation_is_the_product_of_both_shares() -> None:
    # One factor: r = 0.8 x -0.85 = -0.68 between the sampling errors where laboratories do not err.
    quiet = Practice({"cp_lab_sd": D(0), "ndf_lab_sd": D(0)})
    assert float(budget(quiet, Cored((1,) * 20, 10**6)).correlation("CP", "NDF")) == pytest.approx(
        -0.68, abs=1e-3
    )


def test_relative_feed_value_has_the_margin_of_simulation_and_of_published_practice() -> None:
    # Monte Carlo (JCGM 101): ADF and NDF drawn with the budget's own covariance. Shewmaker & Putnam: 5 points of
    # RFV cannot be told apart; the least margin must be of that size.
    found = budget()
    codes = ("ADF", "NDF")
    covariance = [[float(found.covariance(a, b)) for b in codes] for a in codes]
    adf, ndf = np.random.default_rng(5).multivariate_normal([36.0, 58.0], covariance, 200_000).T
    drawn = (88.9 - 0.779 * adf) * 120 / ndf / 1.29
    assert float(margin(found, "RFV").u) == pytest.approx(float(drawn.std()), rel=0.01)
    assert 3 < margin(found, "RFV").half_width < 7


def test_every_calculated_value_has_the_spread_of_simulation() -> None:
    # Monte Carlo through the very formulas, 3,000 draws of all independent sources: SE of an SD is 1.3 %.
    found, random = budget(), np.random.default_rng(11)
    drawn: dict[str, list[float]] = {}
    for _ in range(3000):
        values = dict(HAY)
        for source in found.sources:
            e = D(repr(float(random.standard_normal())))
            for code in values.keys() & source.shifts.keys():
                values[code] += e * source.shifts[code]
        for one in derive(values, COOL_GRASS):
            if one.value is not None:
                drawn.setdefault(one.code, []).append(float(one.value))
    assert {"TDN-sum", "RFQ", "NEm", "NEg", "NFC", "RFV", "ACP"} <= set(drawn)
    for code, values_ in drawn.items():
        assert float(margin(found, code).u) == pytest.approx(float(np.std(values_)), rel=0.06), code


def test_the_dry_matter_that_turned_a_value_moves_it_too() -> None:
    # By hand: -12.1 / 90 x 0.3 = 0.0403 points of CP for one u of the portion's dry matter.
    given = [Measured("CP", D("12.1"), "laboratory", portion="7", portion_dm=D(90))]
    alone = hay_errors([Measured("CP", D("12.1"), "laboratory")], TWENTY, None, Sds())
    turned = hay_errors(given, TWENTY, None, Sds())
    more = margin(turned, "CP").u ** 2 - margin(alone, "CP").u ** 2
    assert float(more.sqrt()) == pytest.approx(0.0403, abs=1e-4)


def test_the_laboratorys_dry_matter_cancels_in_a_value_as_received() -> None:
    # Given as analysed, CP goes up by lab DM and down again: partial / 100 x given is all that is left.
    noisy = Sds(Practice({"dm_lab_sd": D(3), "dm_sd_between": D(0), "dm_sd_within": D(0)}))
    quiet = Sds(Practice({"dm_lab_sd": D(0), "dm_sd_between": D(0), "dm_sd_within": D(0)}))
    given = [Measured("CP", D("12.1"), "bench", portion="1", portion_dm=D("93.0"))]
    us = [
        margin(with_received(hay_errors(given, TWENTY, OVENS, sds)), received("CP")).u
        for sds in (noisy, quiet)
    ]
    assert float(us[0]) == pytest.approx(float(us[1]), rel=2e-3)


def test_a_scan_has_its_calibrations_error_where_one_is_set() -> None:
    practice = Practice({"cp_calibration_sd": D("0.5")})
    plain, with_sep = (
        margin(hay_errors(measured(scanned), TWENTY, OVENS, Sds(practice)), "CP") for scanned in (False, True)
    )
    assert CALIBRATION in with_sep.parts and CALIBRATION not in plain.parts
    assert float(with_sep.u**2 - plain.u**2) == pytest.approx(0.25)


def test_more_cores_never_widen_a_margin() -> None:
    def widths(count: int) -> dict[str, D]:
        found = budget(cored=Cored((1,) * count, 60)).margins
        return {code: one.half_width for code, one in found.items()}

    for fewer, more in ((5, 12), (12, 20), (20, 60)):
        few, many = widths(fewer), widths(more)
        assert all(many[code] <= few[code] for code in few)


@pytest.mark.parametrize(
    ("code", "value", "sd"),
    # Horwitz, Kamps & Boyer 1980 (from memory): a relative SD between laboratories of 4 % at 1 %, 5.6 % at 0.1 %
    # (1000 mg/kg), 16 % at 1 mg/kg.
    [("Ca", "1.00", 0.04), ("Mg", "0.10", 0.0056), ("Zn", "1000", 56), ("Cu", "1", 0.16)],
)
def test_minerals_take_the_laboratorys_sd_from_the_horwitz_curve(code: str, value: str, sd: float) -> None:
    from tracker.domain.analysis import CONSTITUENTS

    found, dof = Sds().lab_sd(code, D(value), "laboratory", CONSTITUENTS[code].unit)
    assert float(found) == pytest.approx(sd, rel=0.015) and dof is None


def test_what_has_no_known_spread_has_no_margin() -> None:
    found = hay_errors([Measured("pH", D("4.8"), "laboratory")], TWENTY, None, Sds())
    assert found.values["pH"] == D("4.8") and found.margins == {}
