"""Escapes and false rejects against published sizes of samples, exact intervals, and the normal model."""

import numpy as np
import pytest
from scipy.stats import norm

from station.study.capability import proportion
from station.study.escapes import Costs, best_bound, curves, motors_needed, shown_rate, size_warnings


@pytest.mark.parametrize(("rate", "motors"), [(0.10, 29), (0.05, 59), (0.02, 149), (0.01, 299)])
def test_sizes_of_samples_without_an_escape(rate, motors):
    # success-run theorem, as in handbooks of acceptance sampling (from memory)
    assert motors_needed(rate) == motors
    assert shown_rate(motors) <= rate < shown_rate(motors - 1)


@pytest.mark.parametrize(("escaped", "motors", "upper"), [
    (0, 30, 0.095), (0, 60, 0.049), (0, 100, 0.030), (0, 300, 0.010), (1, 30, 0.149)])
def test_one_sided_limits_are_those_of_tables(escaped, motors, upper):
    assert proportion(escaped, motors, level=0.90).high == pytest.approx(upper, abs=6e-4)   # 5 % on each side
    if not escaped:
        assert shown_rate(motors) == pytest.approx(upper, abs=6e-4)


def fails_of(values, bounds):
    """By how many of the upper bounds, tightest first, each value is rejected."""
    return np.searchsorted(np.array(bounds), values, side="left")


def test_curves_follow_the_normal_model():
    rng = np.random.default_rng(3)
    bounds = np.linspace(2.0, 4.0, 21)
    good, bad = rng.normal(0, 1.03, 200_000), rng.normal(4.1, 1.03, 50_000)
    found = curves(bounds, fails_of(good, bounds), {"weak_magnets": fails_of(bad, bounds)})
    for k, bound in enumerate(bounds):
        rejected, escaped = norm.sf(bound, 0, 1.03), norm.cdf(bound, 4.1, 1.03)
        assert found.false_rejects[k].value == pytest.approx(rejected, abs=5 * np.sqrt(rejected / good.size))
        assert found.escapes[""][k].value == pytest.approx(escaped, abs=5 * np.sqrt(escaped / bad.size))
        assert found.escapes["weak_magnets"][k].low < found.escapes[""][k].value < found.escapes["weak_magnets"][k].high


def test_the_best_bound_is_where_the_densities_stand_as_the_costs():
    rng = np.random.default_rng(4)
    bounds = np.linspace(0.0, 4.0, 81)
    good, bad = rng.normal(0, 1, 400_000), rng.normal(4, 1, 400_000)
    found = curves(bounds, fails_of(good, bounds), {"x": fails_of(bad, bounds)})
    costs = Costs(reject=10.0, escape=1000.0, share_bad=0.01)
    # f_bad/f_good = c_reject (1 - s) / (c_escape s), which solves for normals of one spread as below
    expected = 2.0 + np.log(10.0 * 0.99 / (1000.0 * 0.01)) / 4
    best = best_bound(found, costs)
    assert best.bound == pytest.approx(expected, abs=0.11)
    assert best.least < best.bound < best.largest      # more bad motors ask for a tighter bound, fewer for a looser
    assert best.largest == pytest.approx(2.0 + np.log(10 * (1 - 0.01 / 3) / (1000 * 0.01 / 3)) / 4, abs=0.11)


def test_between_motors_that_are_far_apart_the_best_bound_is_in_the_middle():
    bounds = list(range(11))
    found = curves(bounds, np.array([3, 3]), {"x": np.array([8, 9])})
    assert best_bound(found, Costs(1.0, 1.0, 0.5)).bound == 5       # any from 3 to 7 costs nothing


def test_without_good_or_bad_motors_there_is_no_best():
    none = np.arange(0)
    assert best_bound(curves([1.0, 2.0], none, {"x": np.array([1])}), Costs(1, 1, 0.1)) is None
    assert best_bound(curves([1.0, 2.0], np.array([1]), {"x": none}), Costs(1, 1, 0.1)) is None


def test_warnings_name_what_is_missing_by_class():
    said = size_warnings({"": 70, "weak_magnets": 65, "hall_displaced": 5})
    assert len(said) == 2
    assert "65 known-bad" in said[0]
    assert "29 for 10 %" not in said[0]
    assert "149 for 2 %" in said[0]
    assert "29 for 10 %" in said[1]
    assert "45 %" in said[1]
    assert size_warnings({}) == ["No motor is known to be bad: nothing can be said about what escapes."]
