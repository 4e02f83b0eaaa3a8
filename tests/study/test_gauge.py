"""station.study.gauge: relations that hold whatever the numbers."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from station.study.gauge import gauge_study

tables = arrays.arrays(float, st.tuples(st.integers(2, 5), st.integers(2, 4), st.integers(2, 3)),
                       elements=st.integers(-50, 50).map(float))


def drawn(seed, motor, operator, interaction, repeat, shape=(10, 3, 3)):
    random = np.random.default_rng(seed)
    p, o, _ = shape
    return (motor * random.standard_normal((p, 1, 1)) + operator * random.standard_normal((1, o, 1))
            + interaction * random.standard_normal((p, o, 1)) + repeat * random.standard_normal(shape))


@given(tables)
def test_components_add_up_and_lie_in_their_intervals(values):
    study = gauge_study(values)
    assert study.gauge.variance == pytest.approx(
        study.repeatability.variance + study.operator.variance + study.interaction.variance)
    assert study.total.variance == pytest.approx(study.gauge.variance + study.part.variance)
    for one in (study.repeatability, study.operator, study.interaction, study.gauge, study.part, study.total):
        assert 0 <= one.low <= one.variance <= one.high


@given(tables)
def test_the_order_of_motors_operators_and_repeats_says_nothing(values):
    before = gauge_study(values)
    after = gauge_study(values[::-1, ::-1, ::-1])
    assert after.gauge.variance == pytest.approx(before.gauge.variance, abs=1e-9)
    assert after.part.variance == pytest.approx(before.part.variance, abs=1e-9)


def test_the_components_that_were_put_in_come_out():
    """Of 300 studies the mean of each estimate that is never cut at zero is the truth within its own error."""
    found = [gauge_study(drawn(seed, 10.0, 4.0, 3.0, 2.0, (8, 4, 3)), pool_above=1.0) for seed in range(300)]
    for name, truth in (("repeatability", 4.0), ("interaction", 9.0), ("part", 100.0)):
        estimates = np.array([getattr(study, name).variance for study in found])
        assert abs(estimates.mean() - truth) < 4 * estimates.std() / np.sqrt(len(found)), name


def test_pooling_goes_by_p():
    kept, pooled = gauge_study(drawn(1, 5, 1, 3, 1)), gauge_study(drawn(1, 5, 1, 0, 1))
    assert (kept.pooled, kept.ratios.interaction.p < 0.25) == (False, True)
    assert (pooled.pooled, pooled.ratios.interaction.p > 0.25) == (True, True)
    assert pooled.error.dof == 60 + 18


def test_share_of_the_tolerance():
    values = drawn(2, 5, 1, 0, 1)
    both = gauge_study(values, -20.0, 20.0)
    assert both.of_tolerance.percent == pytest.approx(100 * 6 * both.gauge.sd / 40)
    assert both.of_tolerance.low < both.of_tolerance.percent < both.of_tolerance.high
    upper = gauge_study(values, None, both.mean + 20.0)
    lower = gauge_study(values, both.mean - 20.0, None)
    assert upper.of_tolerance.percent == pytest.approx(lower.of_tolerance.percent) == pytest.approx(
        both.of_tolerance.percent)
    assert gauge_study(values, 3.0, 3.0).of_tolerance is None       # a count that must be three has no tolerance
    assert gauge_study(values, None, both.mean - 1).of_tolerance is None


@pytest.mark.parametrize(("tolerance", "word"), [(100.0, "good"), (30.0, "conditional"), (10.0, "not capable")])
def test_words(tolerance, word):
    assert gauge_study(drawn(3, 5, 0.2, 0, 1), -tolerance / 2, tolerance / 2).word == word


def test_a_gauge_that_never_varies():
    values = np.broadcast_to(np.arange(4.0)[:, None, None], (4, 3, 2))
    study = gauge_study(values, -10.0, 10.0)
    assert (study.gauge.variance, study.ndc, study.of_tolerance.percent, study.word) == (0.0, inf, 0.0, "good")
    same = gauge_study(np.ones((4, 3, 2)))
    assert (same.of_total, same.word, same.pooled) == (None, "no spread", False)
