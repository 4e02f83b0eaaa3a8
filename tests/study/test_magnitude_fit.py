"""station.study.magnitude_fit: scipy's own fits as oracle, and the intervals' promise."""

import numpy as np
import pytest
from scipy import stats

from station.study.magnitude_fit import fit_magnitude, index_of_fit, index_of_quantiles

DRAWN = {
    "half-normal": stats.halfnorm(scale=0.3),
    "gamma": stats.gamma(3.0, scale=0.2),
    "Weibull": stats.weibull_min(3.5, scale=2.0),
    "log-normal": stats.lognorm(0.5, scale=1.5),
}


def drawn(family, n, seed=1):
    return DRAWN[family].rvs(n, random_state=np.random.default_rng(seed))


@pytest.mark.parametrize("family", DRAWN)
def test_the_family_that_made_the_data_is_found(family):
    fit = fit_magnitude(drawn(family, 3000))
    assert fit.family == family
    assert not fit.is_poor
    for share in (0.1, 0.5, 0.99865):
        assert fit.quantile(share) == pytest.approx(DRAWN[family].ppf(share), rel=0.06)
    assert fit.above(fit.quantile(0.9)) == pytest.approx(0.1)


@pytest.mark.parametrize(("family", "law"), [
    ("gamma", stats.gamma), ("Weibull", stats.weibull_min), ("log-normal", stats.lognorm)])
def test_against_the_fit_of_scipy(family, law):
    values = drawn(family, 800, seed=2)
    fit = fit_magnitude(values)
    shape, _, scale = law.fit(values, floc=0)
    assert np.exp(fit.unknowns) == pytest.approx((scale, shape), rel=2e-3)


@pytest.mark.parametrize("family", DRAWN)
def test_likelihood_is_that_of_the_density(family):
    values = drawn(family, 50, seed=8)
    fit = fit_magnitude(values)
    assert fit.information == pytest.approx(
        2 * len(fit.unknowns) - 2 * np.sum(np.log(fit.density(values))), rel=1e-9)


def test_unbalance_of_three_even_phases_is_a_rayleigh():
    """The length of a vector with two even normal parts: Weibull of shape 2 (Rayleigh)."""
    rng = np.random.default_rng(3)
    fit = fit_magnitude(np.hypot(*rng.normal(0, 0.5, (2, 4000))))
    assert fit.family == "Weibull"
    assert np.exp(fit.unknowns[1]) == pytest.approx(2, rel=0.05)


def test_index_is_ppk_where_the_magnitude_is_far_from_zero():
    """A narrow heap far above zero is nearly normal, and so is its index."""
    values = np.random.default_rng(4).normal(4, 0.1, 2000)
    fit = fit_magnitude(values)
    assert index_of_fit(fit, None, 4.5).value == pytest.approx((4.5 - values.mean()) / (3 * values.std()), rel=0.06)
    assert index_of_quantiles(values, None, 4.5) == pytest.approx(5 / 3, rel=0.15)


def test_a_two_sided_normal_would_promise_too_much():
    values = drawn("half-normal", 2000, seed=5)
    fit = fit_magnitude(values)
    limit = fit.quantile(0.99865)
    assert index_of_fit(fit, None, limit).value == pytest.approx(1, abs=1e-6)
    assert (limit - values.mean()) / (3 * values.std()) > 1.2


@pytest.mark.parametrize("family", ["half-normal", "Weibull"])
def test_interval_covers_about_as_often_as_it_says(family):
    law = DRAWN[family]
    limit = float(law.ppf(0.99865) * 1.3 - law.ppf(0.5) * 0.3)      # an index of 1.3
    covered = 0
    for seed in range(60):
        fit = fit_magnitude(drawn(family, 200, seed))
        found = index_of_fit(fit, None, limit)
        covered += found.low <= 1.3 <= found.high
    assert covered >= 45        # a neighbouring family is sometimes likelier, and the interval knows nothing of that


@pytest.mark.parametrize("scale", [1e-4, 37.0])
def test_index_does_not_depend_on_the_unit(scale):
    values = drawn("gamma", 300)
    one = index_of_fit(fit_magnitude(values), None, 2.5)
    other = index_of_fit(fit_magnitude(values * scale), None, 2.5 * scale)
    assert (one.low, one.value, one.high) == pytest.approx((other.low, other.value, other.high), rel=1e-3)


def test_zero_leaves_the_half_normal_only():
    values = np.concatenate([[0.0], drawn("half-normal", 100)])
    assert fit_magnitude(values).family == "half-normal"


def test_what_is_no_magnitude_has_no_fit():
    assert fit_magnitude(np.array([-0.1, 0.2, 0.3])) is None
    assert fit_magnitude(np.full(50, 0.2)) is None


def test_two_heaps_are_a_poor_fit():
    rng = np.random.default_rng(6)
    assert fit_magnitude(np.concatenate([rng.normal(1, 0.05, 200), rng.normal(3, 0.05, 200)])).is_poor


def test_the_nearer_limit_counts():
    values = drawn("Weibull", 2000)
    fit = fit_magnitude(values)
    low, high = (index_of_fit(fit, lower, upper).value for lower, upper in ((0.1, None), (None, 4.0)))
    assert index_of_fit(fit, 0.1, 4.0).value == min(low, high)
    assert index_of_fit(fit, fit.quantile(1 - 0.99865), 99.0).value == pytest.approx(1)
    assert index_of_quantiles(values, 0.1, 4.0) == pytest.approx(min(low, high), rel=0.15)
