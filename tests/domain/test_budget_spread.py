"""The amounts of an answer move within the hay's error budget, its values together."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import numpy as np
import pytest

from tests.domain.feeding_makers import BY_KEY, HAY_A, cow
from tracker.domain.answer import answer
from tracker.domain.budget_spread import by_budget
from tracker.domain.error_budget import Budget, correlated, quantile
from tracker.domain.hay import Hay
from tracker.domain.needs import need_of
from tracker.domain.spread import Amounts, by_margins

HALF = {"CP": D("0.5"), "TDN": D("1.6"), "NDF": D("1.7")}
CODES = {"cp": "CP", "tdn": "TDN", "ndf": "NDF"}


def hay() -> Hay:
    return replace(HAY_A, cp_margin=HALF["CP"], tdn_margin=HALF["TDN"], ndf_margin=HALF["NDF"])


def budget(cp_tdn: str = "0", cp_ndf: str = "0", tdn_ndf: str = "0") -> Budget:
    """The hay's values with its margins, correlated so."""
    values = {"CP": HAY_A.cp, "TDN": HAY_A.tdn, "NDF": HAY_A.ndf}
    pairs = {("CP", "TDN"): D(cp_tdn), ("CP", "NDF"): D(cp_ndf), ("TDN", "NDF"): D(tdn_ndf)}
    return correlated(values, {code: half / quantile() for code, half in HALF.items()}, pairs)


def amounts(of: Hay) -> Amounts:
    """Some sums a feeding answer takes, as smooth as they are."""
    return {"energy": 20 - of.tdn / 10, "both": of.cp * of.tdn / 100, "three": of.tdn / of.ndf + of.cp / 10}


def test_values_that_err_apart_give_what_their_margins_give() -> None:
    ours, theirs = by_budget(hay(), budget(), CODES)(amounts), by_margins(hay())(amounts)
    assert set(ours) == set(theirs)
    for name in ours:
        # One steps by the standard uncertainty and the other by the whole margin: alike but for the curvature.
        assert float(ours[name]) == pytest.approx(float(theirs[name]), rel=1e-3)


def test_values_that_err_together_give_the_spread_of_simulation() -> None:
    # Monte Carlo (JCGM 101) with the same covariance.
    r = {"cp_tdn": "0.5", "cp_ndf": "-0.6", "tdn_ndf": "-0.9"}
    found = by_budget(hay(), budget(**r), CODES)(amounts)
    u = np.array([float(half) / 1.959964 for half in HALF.values()])
    matrix = np.array([[1, 0.5, -0.6], [0.5, 1, -0.9], [-0.6, -0.9, 1]]) * np.outer(u, u)
    mean = [float(HAY_A.cp), float(HAY_A.tdn), float(HAY_A.ndf)]
    cp, tdn, ndf = np.random.default_rng(2).multivariate_normal(mean, matrix, 200_000).T
    drawn = {"energy": 20 - tdn / 10, "both": cp * tdn / 100, "three": tdn / ndf + cp / 10}
    for name, values in drawn.items():
        assert float(found[name]) == pytest.approx(1.959964 * values.std(), rel=0.01)
    # Good hay is good in all of it: taken as apart, the amounts look surer than they are.
    assert found["both"] > by_margins(hay())(amounts)["both"]


def test_what_the_budget_does_not_know_is_taken_as_exact() -> None:
    alone = correlated({"CP": HAY_A.cp}, {"CP": HALF["CP"] / quantile()}, {})
    found = by_budget(hay(), alone, CODES)(amounts)
    assert "energy" not in found and found["both"] > 0


def test_an_answer_takes_the_budget_in_place_of_the_margins() -> None:
    feeds = (BY_KEY["soyhulls"],)
    plain = answer(cow(), hay(), feeds)
    joint = answer(cow(), hay(), feeds, spread=by_budget(hay(), budget(cp_tdn="0.9"), CODES))
    assert plain.supplies[0].short.value == joint.supplies[0].short.value
    assert need_of(cow()).nem_mcal == joint.need.nem_mcal
    (first,), (second,) = plain.supplements, joint.supplements
    assert first.dm_lb is not None and second.dm_lb is not None
    assert first.dm_lb.margin_high is not None and second.dm_lb.margin_high is not None
    assert first.dm_lb.margin_high != second.dm_lb.margin_high
