"""Combining rows: independent ones, shared ones with signs, and sizes near zero."""

from math import inf, isnan, nan, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.budget import combine, limit_of_error, measurement, near_zero, type_a, weighted_sum
from station.measurement import BudgetRow

sizes = st.lists(st.tuples(st.floats(1e-6, 1e6), st.floats(1, 1e3)), min_size=1, max_size=8)


@given(sizes)
def test_effective_degrees_lie_between_the_fewest_and_all_together(rows):
    u, dof = combine([type_a("x", *row) for row in rows])
    assert u == pytest.approx(sqrt(sum(each**2 for each, _ in rows)))
    assert min(dof for _, dof in rows) * (1 - 1e-9) <= dof <= sum(dof for _, dof in rows) * (1 + 1e-9)


def test_limits_alone_leave_infinite_degrees():
    assert combine([limit_of_error("x", 1.0), limit_of_error("y", 2.0)]) == (pytest.approx(sqrt(5 / 3)), inf)


def test_unknown_uncertainty_of_a_row_is_never_left_out():
    one = measurement("thd.ab", 1.0, [type_a("x", 1.0, 9), type_a("y", nan, 9), type_a("z", 0.0, 9)])
    assert isnan(one.u)
    assert len(one.budget) == 2


def gain(u):
    return BudgetRow("gain", "B", "normal", u, inf, "gain")


def test_shared_source_cancels_in_a_difference_and_stays_in_a_mean():
    def combined(*parts):
        return combine(weighted_sum(parts))[0]

    first, second = [gain(0.3), type_a("noise", 0.4, 9)], [gain(0.3), type_a("noise", 0.4, 9)]
    assert combined((1.0, first), (-1.0, second)) == pytest.approx(0.4 * sqrt(2))
    assert combined((0.5, first), (0.5, second)) == pytest.approx(sqrt(0.3**2 + 0.4**2 / 2))


def test_share_of_unlike_sizes_leaves_their_difference():
    rows = weighted_sum([(1.0, [gain(0.5)]), (-1.0, [gain(0.2)])])
    assert [(row.u, row.shared) for row in rows] == [(pytest.approx(0.3), "gain")]


@pytest.mark.parametrize("truth", [0.0, 0.5, 1.0, 2.0, 4.0, 10.0])
def test_length_of_a_noisy_vector_keeps_its_coverage_at_any_size(truth):
    """Source: at zero a Rayleigh length lies within 2u in only 86.5 % of all cases."""
    rng = np.random.default_rng(3)
    lengths = np.abs(truth + rng.standard_normal(20_000) + 1j * rng.standard_normal(20_000))
    held = [abs(each - truth) <= 2 * combine(near_zero([type_a("noise", 1.0, inf)], each))[0] for each in lengths]
    assert 0.945 < np.mean(held) < 1.0
    assert truth > 0 or np.mean(lengths <= 2.0) == pytest.approx(0.865, abs=0.01)


def test_a_size_far_from_zero_needs_no_row():
    assert len(near_zero([type_a("noise", 1.0, inf)], 100.0)) == 1
