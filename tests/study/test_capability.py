"""station.study.capability: published examples, then what must hold whatever the numbers."""

from math import inf, isinf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.study.capability import (
    Spread,
    capability,
    nearest_index,
    proportion,
    proportions,
    spread_index,
    within_groups,
    without_measurement,
)


def test_montgomery_interval_of_cp():
    """Source: Montgomery, limits 38 and 62, s 1.75 of 20: Cp 2.29, 1.57 to 3.01 (from memory)."""
    found = spread_index(62 - 38, Spread(1.75, 19))
    assert (found.value, found.low, found.high) == pytest.approx((2.2857, 1.565, 3.006), abs=6e-4)


def test_montgomery_interval_of_cpk():
    """Source: Montgomery, Cpk 1.33 of 20: 0.88 to 1.78 (from memory)."""
    found = nearest_index(0.0, Spread(1.0, 19), 20, None, 3 * 1.33)
    assert (found.low, found.high) == pytest.approx((0.88, 1.78), abs=5e-3)


def test_nist_example():
    """Source: NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667."""
    assert spread_index(12, Spread(2.0, 30)).value == pytest.approx(1.0)
    assert nearest_index(16, Spread(2.0, 30), 31, 8, 20).value == pytest.approx(2 / 3)


@pytest.mark.parametrize(("n", "low", "high"), [
    (25, 0.93, 1.73), (50, 1.05, 1.61), (100, 1.13, 1.53), (200, 1.19, 1.47), (500, 1.24, 1.42), (1000, 1.27, 1.39)])
def test_how_little_a_few_motors_tell(n, low, high):
    """The intervals of 1.33 by which 25 motors are refused, and 100 warned of."""
    found = nearest_index(0.0, Spread(1.0, n - 1), n, -1e9, 3 * 1.33)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-3)


def test_pooled_spread_is_that_of_an_analysis_of_variance():
    rng = np.random.default_rng(1)
    groups = np.repeat([3, 7, 9, 11], [12, 5, 1, 30])
    values = rng.normal(groups, 0.3)
    found = within_groups(values, groups)
    squares = sum(np.sum((part - part.mean()) ** 2) for part in (values[groups == g] for g in (3, 7, 9, 11)))
    assert found == Spread(pytest.approx(np.sqrt(squares / 44)), 44)


def test_lots_that_differ_make_cpk_better_than_ppk():
    rng = np.random.default_rng(2)
    groups = np.repeat(np.arange(4), 50)
    found = capability(rng.normal(groups, 0.5), groups, -4, 8)
    assert found.cpk.value > 1.5 * found.ppk.value
    assert found.within.s == pytest.approx(0.5, rel=0.1)


def test_one_limit_leaves_no_cp():
    values = np.random.default_rng(3).normal(0, 1, 60)
    groups = np.zeros(60, dtype=np.int64)
    found = capability(values, groups, None, 4.0)
    assert found.cp is None
    assert found.pp is None
    assert found.ppk.value == pytest.approx((4 - values.mean()) / (3 * values.std(ddof=1)))


def test_no_limit_leaves_no_index():
    found = capability(np.arange(30.0), np.zeros(30, dtype=np.int64), None, None)
    assert (found.cp, found.cpk, found.pp, found.ppk) == (None,) * 4


def test_values_without_spread_are_no_number_but_no_crash():
    found = capability(np.full(30, 5.0), np.zeros(30, dtype=np.int64), 4.0, 4.5)
    assert isinf(found.ppk.value)
    assert found.ppk.value < 0
    assert found.pp.value == inf


def test_groups_of_one_motor_each_have_no_spread_within():
    found = capability(np.arange(30.0), np.arange(30), 0.0, 40.0)
    assert found.cpk is None
    assert found.cp is None
    assert found.ppk is not None


numbers = st.lists(st.floats(-100, 100).map(lambda x: round(x, 3)), min_size=5, max_size=40).filter(
    lambda some: np.std(some) > 0.01)


@given(numbers, st.floats(0.01, 100), st.floats(-50, 50), st.integers(1, 3))
def test_indices_do_not_depend_on_unit_or_origin(some, scale, shift, parts):
    values = np.array(some)
    groups = np.arange(values.size) % parts
    one = capability(values, groups, -120, 130)
    other = capability(values * scale + shift, groups, -120 * scale + shift, 130 * scale + shift)
    for name in ("cp", "cpk", "pp", "ppk"):
        first, second = getattr(one, name), getattr(other, name)
        assert (first.low, first.value, first.high) == pytest.approx((second.low, second.value, second.high), rel=1e-6)


@given(numbers, st.floats(-300, 300), st.floats(0.1, 300))
def test_the_nearer_limit_counts_and_the_interval_holds_the_value(some, lower, width):
    values = np.array(some)
    found = capability(values, np.zeros(values.size, dtype=np.int64), lower, lower + width)
    assert found.ppk.low < found.ppk.value < found.ppk.high
    assert found.ppk.value <= found.pp.value + 1e-12
    assert found.pp.low < found.pp.value < found.pp.high


def test_interval_of_cpk_covers_as_often_as_it_says():
    rng = np.random.default_rng(4)
    samples = rng.normal(0, 1, (2000, 100))
    covered = 0
    for values in samples:
        found = nearest_index(values.mean(), Spread(values.std(ddof=1), 99), 100, None, 3.99)
        covered += found.low <= 1.33 <= found.high
    assert 0.93 < covered / 2000 < 0.97


def test_spread_without_measurement():
    rng = np.random.default_rng(5)
    values = rng.normal(0, 3, 20_000) + rng.normal(0, 1, 20_000)
    true, share = without_measurement(Spread(values.std(ddof=1), 19_999), np.ones(20_000))
    assert true == pytest.approx(3, rel=0.02)
    assert share == pytest.approx(0.1, rel=0.05)


def test_measurement_alone_leaves_no_spread():
    true, share = without_measurement(Spread(1.0, 99), np.full(100, 1.2))
    assert true == 0
    assert share == pytest.approx(1.44)


@pytest.mark.parametrize(("count", "n", "upper"), [(0, 30, 0.095), (0, 60, 0.049), (0, 100, 0.030), (1, 30, 0.149)])
def test_upper_end_of_a_proportion(count, n, upper):
    """One-sided 95 % is the upper end of a two-sided interval of 90 %."""
    assert proportion(count, n, 0.90).high == pytest.approx(upper, abs=5e-4)


@pytest.mark.parametrize(("count", "n"), [(0, 7), (3, 50), (50, 50), (199, 1000)])
def test_proportion_against_scipy(count, n):
    oracle = stats.binomtest(count, n).proportion_ci(0.95, method="exact")
    found = proportion(count, n)
    assert (found.low, found.high) == pytest.approx((oracle.low, oracle.high))


def test_many_proportions_are_each_as_one():
    assert proportions(range(8), 7) == tuple(proportion(count, 7) for count in range(8))
