"""Intervals that say 95 % hold the truth in 93 to 97 of 100 made lots, from the cores to the supplement.

JCGM 101:2008 judges an uncertainty by drawing the whole measurement; here lots are drawn bale by bale
and core by core.
1,000 draws know a share near 95 % to 0.7.
"""

from __future__ import annotations

import pytest

from tracker.domain import coverage
from tracker.domain.coverage import Covered, covered
from tracker.domain.fed_example import GAP_ENERGY, GAP_PROTEIN, SUPPLEMENT, with_feeding
from tracker.domain.own_sds import Sds
from tracker.domain.practice import Practice

WANTED = {"CP", "NDF", "NO3", "total DM", "CP as received", "TDN-sum", "RFV", "RFQ", "NEm"}
FED = {GAP_ENERGY, GAP_PROTEIN, SUPPLEMENT}


def missed(found: tuple[Covered, ...]) -> dict[str, float]:
    return {one.code: one.percent for one in found if not 93 <= one.percent <= 97}


@pytest.mark.parametrize("own", [False, True], ids=["SDs as set", "SDs from own repeats"])
def test_the_truth_lies_within_in_93_to_97_of_100(own: bool) -> None:
    found = covered(1000, own=own, extend=with_feeding)
    assert {one.code for one in found} >= WANTED | FED
    assert all(one.draws == 1000 for one in found)
    assert missed(found) == {}


def test_half_the_scatter_would_be_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    # The trial itself can fail: a programme that believes in half the SDs covers 67 of 100 (P(|z| < 0.98)).
    halved = Practice({f"cp_{part}": COMMON_CP[part] / 2 for part in COMMON_CP})
    monkeypatch.setattr(coverage, "Sds", lambda: Sds(halved))
    (cp,) = (one for one in covered(400) if one.code == "CP")
    assert cp.percent == pytest.approx(67.3, abs=6)


COMMON_CP = {part: Practice().number(f"cp_{part}") for part in ("sd_between", "sd_within", "lab_sd")}


def test_the_same_seed_makes_the_same_lots() -> None:
    assert covered(20, 7) == covered(20, 7) != covered(20, 8)
