"""station.study.distribution: scipy and published critical values as oracles, then made-up heaps and defects."""

import warnings
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.study.distribution import LOWEST_P, _chance, at_rails, far_outside, normality, shape, two_heaps


@pytest.mark.parametrize("draw", ["normal", "exponential", "uniform"])
def test_statistic_against_scipy(draw):
    values = getattr(np.random.default_rng(1), draw)(size=120)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)      # some versions ask for a way to find p, which is not used
        oracle = stats.anderson(values, "norm").statistic
    assert normality(values).statistic == pytest.approx(oracle * (1 + 0.75 / 120 + 2.25 / 120**2), rel=1e-9)


@pytest.mark.parametrize(("critical", "p"), [
    (0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01), (1.159, 0.005)])
def test_published_critical_values(critical, p):
    """Source: Stephens 1986, table 4.7, mean and spread unknown (from memory)."""
    assert _chance(critical) == pytest.approx(p, rel=0.03)


def test_chance_falls_all_the_way_and_ends():
    chances = [_chance(a) for a in np.linspace(0.1, 20, 400)]
    assert all(later <= earlier + 2e-3 for earlier, later in pairwise(chances))
    assert chances[-1] == LOWEST_P


def test_normal_samples_are_refused_as_often_as_the_level_says():
    samples = np.random.default_rng(2).normal(5, 2, (1000, 60))
    refused = np.mean([normality(values).p < 0.05 for values in samples])
    assert 0.03 < refused < 0.07


def test_nothing_is_said_of_few_or_equal_values():
    assert normality(np.arange(5.0)) is None
    assert normality(np.full(50, 3.0)) is None


def test_shape_against_scipy():
    values = np.random.default_rng(3).gamma(2, size=200)
    found = shape(values)
    assert found.skewness == pytest.approx(stats.skew(values))
    assert (found.n, found.mean, found.s) == (200, values.mean(), pytest.approx(stats.tstd(values)))
    assert found.least <= found.p5 <= found.median <= found.p95 <= found.largest


def test_defects_are_found_and_good_motors_are_not():
    values = np.random.default_rng(4).normal(10, 0.1, 500)
    values[[17, 300]] = 11.0, 8.0
    assert list(far_outside(values)) == [17, 300]


def test_counts_that_are_nearly_all_equal_have_nothing_far_outside():
    assert far_outside(np.array([0.0] * 99 + [7.0])).size == 0


def test_a_heap_of_its_own_is_not_called_far_outside():
    rng = np.random.default_rng(8)
    values = np.concatenate([rng.normal(0, 0.2, 120), rng.normal(4, 0.2, 60)])
    assert far_outside(values).size == 0
    assert two_heaps(values).share == pytest.approx(1 / 3, abs=0.02)


def test_two_suppliers_are_two_heaps():
    rng = np.random.default_rng(5)
    values = rng.permutation(np.concatenate([rng.normal(10, 0.1, 140), rng.normal(10.6, 0.1, 60)]))
    found = two_heaps(values)
    assert (found.low, found.high) == pytest.approx((10, 10.6), abs=0.05)
    assert found.s == pytest.approx(0.1, rel=0.15)
    assert found.share == pytest.approx(0.3, abs=0.03)


@pytest.mark.parametrize("draw", ["normal", "rayleigh", "logistic", "exponential", "standard_cauchy"])
@pytest.mark.parametrize("n", [60, 400])
def test_one_heap_is_seldom_taken_for_two(draw, n):
    rng = np.random.default_rng(6)
    found = [two_heaps(getattr(rng, draw)(size=n)) for _ in range(40)]
    assert sum(heaps is not None for heaps in found) <= 1


def test_a_few_defects_are_no_heap():
    rng = np.random.default_rng(7)
    assert two_heaps(np.concatenate([rng.normal(0, 1, 195), rng.normal(12, 0.2, 5)])) is None


def test_defects_beside_two_heaps_do_not_hide_them():
    rng = np.random.default_rng(8)
    values = np.concatenate([rng.normal(0, 0.3, 100), rng.normal(2, 0.3, 100), [90.0, 95.0, 120.0]])
    assert two_heaps(values).apart == pytest.approx(2 / 0.3, rel=0.1)


def test_equal_values_are_no_heaps():
    assert two_heaps(np.full(60, 2.0)) is None
    assert two_heaps(np.repeat([1.0, 2.0], 40)) is None     # without any width nothing is told


@given(st.integers(0, 10_000), st.floats(0.01, 1000), st.floats(-1000, 1000))
def test_nothing_depends_on_unit_or_origin(seed, scale, shift):
    values = np.random.default_rng(seed).normal(size=40)
    moved = values * scale + shift
    assert normality(moved).statistic == pytest.approx(normality(values).statistic, rel=1e-4, abs=1e-6)
    assert shape(moved).skewness == pytest.approx(shape(values).skewness, abs=1e-5)
    assert list(far_outside(moved)) == list(far_outside(values))


@pytest.mark.parametrize(("values", "rails"), [
    ([1, 2, 3, 4, 5], (0, 0)), ([1, 1, 1, 2, 3], (0, 0)), ([1, 1, 1, 1, 2, 3], (4, 0)), ([1, 2, 3, 3, 3, 3], (0, 4)),
    ([0] * 4 + [1] + [2] * 5, (4, 5)), ([5] * 9, (0, 0)), ([1] * 4 + [2] * 5 + [3] * 4, (0, 0)),
    ([1] * 4 + [2] * 5, (0, 0)),
])
def test_values_at_the_ends_of_a_range(values, rails):
    assert at_rails(np.array(values, float)) == rails


def test_rounded_values_seldom_look_like_the_end_of_a_range():
    random = np.random.default_rng(7)
    seen = [any(at_rails(np.round(random.normal(0, 1, 400), 1))) for _ in range(400)]
    assert np.mean(seen) < 0.02
