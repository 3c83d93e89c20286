"""The programme's own standard deviations from its repeats."""

from __future__ import annotations

from decimal import Decimal as D

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.domain.own_sds import Composites, Pooled, Sds, pooled_within, sampling_ratio, shrunk

# Montgomery, Design and Analysis of Experiments, the loom experiment (strength of fabric, 4 looms of 4 values each),
# figures from memory: mean squares 29.73 between and 1.90 within, components 6.96 and 1.90.
LOOMS = ((98, 97, 99, 96), (91, 90, 93, 92), (96, 95, 97, 95), (95, 96, 99, 98))


def test_runs_of_one_sample_are_pooled_as_in_the_textbook() -> None:
    found = pooled_within([[D(value) for value in loom] for loom in LOOMS])
    assert found is not None
    assert float(found.variance) == pytest.approx(1.90, abs=0.005)
    assert (found.dof, found.groups, found.values) == (12, 4, 16)


def test_composites_of_one_lot_show_the_textbooks_component_between() -> None:
    # Each loom a composite of one lot, its four values runs in the laboratory; the default variance is taken as 1.
    means = tuple(D(sum(loom)) / 4 for loom in LOOMS)
    found = sampling_ratio([Composites(means, D(1), D("1.8958333") / 4)])
    assert found is not None and float(found.variance) == pytest.approx(6.96, abs=0.005)


def test_a_pair_shows_half_its_squared_difference() -> None:
    # Of two values the variance is d² / 2: 0.4² / 2 = 0.08.
    found = pooled_within([[D("12.0"), D("12.4")]])
    assert found is not None and found.variance == D("0.08") and found.dof == 1


def test_single_values_say_nothing() -> None:
    assert pooled_within([[D(1)], [D(2)], []]) is None and sampling_ratio([]) is None


def test_what_the_laboratory_explains_is_no_sampling() -> None:
    found = sampling_ratio([Composites((D("12.0"), D("12.1")), D("0.03"), D("0.04"))])
    assert found is not None and found.variance == 0


def test_repeats_count_for_less_where_the_laboratory_hides_them() -> None:
    clear, hidden = (
        sampling_ratio([Composites((D(12), D(13)), D(1), D(noise))] * 10) for noise in ("0", "1")
    )
    assert clear is not None and hidden is not None
    assert (clear.dof, hidden.dof) == (10, D("2.5"))


def test_few_repeats_barely_move_the_default_and_many_decide() -> None:
    own = D("0.16")
    two, many = (shrunk(Pooled(own, D(n), n, 2 * n), D("0.04"), D(10)) for n in (2, 1000))
    # By hand: (10 x 0.04 + 2 x 0.16) / 12 = 0.06 and (0.4 + 160) / 1010 = 0.1588.
    assert two.variance == D("0.06") and float(many.variance) == pytest.approx(0.1588, abs=1e-4)
    assert (two.dof, many.dof) == (12, 1010)


@given(st.floats(0, 9), st.floats(0.01, 9), st.integers(1, 500), st.integers(1, 50))
def test_the_shrunk_variance_lies_between_default_and_own(
    own: float, default: float, n: int, prior: int
) -> None:
    found = shrunk(Pooled(D(repr(own)), D(n), n, 2 * n), D(repr(default)), D(prior)).variance
    low, high = sorted((D(repr(own)), D(repr(default))))
    tiny = D("1e-20")
    assert low - tiny <= found <= high + tiny


def test_the_shrunk_variance_is_the_best_guess_when_the_default_is_as_uncertain_as_said() -> None:
    # Simulation: true variances by the scaled inverse chi-square law with 10 degrees of freedom about 0.04, four
    # pairs each. The mean square error of 1 / variance is least for the posterior mean of precision, 1 / shrunk.
    random, prior, n = np.random.default_rng(3), 10, 4
    truth = prior * 0.04 / random.chisquare(prior, 4000)
    own = truth * random.chisquare(n, 4000) / n
    ours = np.array(
        [float(shrunk(Pooled(D(repr(float(s))), D(n), n, 2 * n), D("0.04"), D(prior)).variance) for s in own]
    )
    errors = {
        name: np.mean((1 / guess - 1 / truth) ** 2) for name, guess in (("ours", ours), ("default", 0.04))
    }
    assert errors["ours"] < errors["default"] and errors["ours"] < np.mean((1 / own - 1 / truth) ** 2)


def test_the_words_say_what_was_used_and_from_how_many() -> None:
    pooled = pooled_within([[D("12.0"), D("12.4")], [D("9.0"), D("9.1")]])
    assert pooled is not None
    own = Sds(laboratory={("bench", "CP"): shrunk(pooled, D("0.04"), D(10))})
    assert own.lab_words("CP", "bench") == "own: 4 runs of 2 samples at bench"
    assert own.lab_words("CP", "elsewhere") == "default" == own.field_words("CP")
    sd, dof = own.lab_sd("CP", D(12), "bench")
    # By hand: (10 x 0.04 + 0.08 + 0.005) / 12 = 0.04042.
    assert float(sd**2) == pytest.approx(0.04042, abs=1e-5) and dof == 12
