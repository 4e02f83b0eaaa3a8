"""station.study.tolerance_interval: published factors, then what they promise."""

from math import erf, sqrt

import numpy as np
import pytest

from station.study.tolerance_interval import howe_factor, one_sided_factor, sample_for_extremes, two_sided_factor


def test_nist_example():
    """Source: NIST/SEMATECH e-Handbook 7.2.6.3: 43 values, 90 % with 99 %: 2.2173 (Howe), 1.8740 one-sided."""
    assert howe_factor(43, 0.90, 0.99) == pytest.approx(2.2173, abs=1e-4)
    assert one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=1e-4)
    assert two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.22283, abs=2e-5)
    low, high = (97.07 + sign * howe_factor(43, 0.90, 0.99) * 0.0268 for sign in (-1, 1))
    assert (low, high) == pytest.approx((97.0106, 97.1294), abs=5e-5)


@pytest.mark.parametrize(("n", "k"), [(30, 3.90), (100, 3.42), (300, 3.22), (1000, 3.117)])
def test_three_sigma_limits_must_be_wider(n, k):
    assert two_sided_factor(n, 0.9973, 0.95) == pytest.approx(k, abs=6e-3)


@pytest.mark.parametrize("n", [5, 30, 500])
def test_howe_is_near_and_below_and_one_side_needs_less(n):
    exact = two_sided_factor(n, 0.99, 0.95)
    assert howe_factor(n, 0.99, 0.95) == pytest.approx(exact, rel=0.015)
    assert one_sided_factor(n, 0.99, 0.95) < exact


def test_interval_holds_the_share_as_often_as_it_says():
    rng = np.random.default_rng(7)
    k = two_sided_factor(30, 0.95, 0.90)
    samples = rng.normal(size=(4000, 30))
    mean, s = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    held = [(erf((m + k * d) / sqrt(2)) - erf((m - k * d) / sqrt(2))) / 2 >= 0.95 for m, d in zip(mean, s, strict=True)]
    assert np.mean(held) == pytest.approx(0.90, abs=0.015)


@pytest.mark.parametrize(("share", "sides", "n"), [(0.95, 2, 93), (0.99, 2, 473), (0.95, 1, 59), (0.99, 1, 299)])
def test_extremes_without_any_distribution(share, sides, n):
    """Source: Wilks; the well-known 93 and 59 of nonparametric tolerance limits."""
    assert sample_for_extremes(share, 0.95, sides=sides) == n
