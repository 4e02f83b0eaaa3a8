"""station.study.type_one: Cg and Cgk from their formulas, and when nothing is said."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats

from station.errors import UsageError
from station.study.type_one import type_one

RUNS = 10.0 + np.array([-2, -1, 0, 1, 2] * 10) / 100
S = np.sqrt(50 * 2 / 49) / 100


def test_formulas():
    made = type_one(RUNS, 10.005, 9.0, 11.0)
    assert (made.mean, made.bias, made.s) == (pytest.approx(10.0), pytest.approx(-0.005), pytest.approx(S))
    assert made.cg.value == pytest.approx(0.2 * 2.0 / (6 * S))
    assert made.cgk.value == pytest.approx((0.1 * 2.0 - 0.005) / (3 * S))
    assert made.capable
    assert made.cg.low < made.cg.value < made.cg.high
    assert made.p_bias == pytest.approx(stats.ttest_1samp(RUNS, 10.005).pvalue)


@given(arrays.arrays(float, 20, elements=st.floats(-5, 5)), st.floats(-3, 3))
def test_bias_never_helps(values, reference):
    made = type_one(values, reference, -30.0, 30.0)
    assert made.cgk.value <= made.cg.value or made.s == 0


def test_a_bias_beyond_a_tenth_of_the_tolerance_is_not_capable():
    assert type_one(RUNS, 10.25, 9.0, 11.0).cgk.value < 0
    assert type_one(RUNS, 10.25, 9.0, 11.0).capable is False


@pytest.mark.parametrize(("lower", "upper"), [(None, 11.0), (9.0, None), (None, None), (10.0, 10.0)])
def test_without_a_tolerance_there_are_spread_and_bias_only(lower, upper):
    made = type_one(RUNS, 10.0, lower, upper)
    assert (made.cg, made.cgk, made.capable) == (None, None, None)
    assert made.s == pytest.approx(S)


def test_too_few_runs():
    with pytest.raises(UsageError, match="10 or more"):
        type_one(RUNS[:9], 10.0, 9.0, 11.0)


def test_runs_that_never_differ():
    made = type_one(np.full(12, 10.0), 10.0, 9.0, 11.0)
    assert (made.cg.value, made.cgk.value, made.p_bias, made.capable) == (np.inf, np.inf, None, True)
