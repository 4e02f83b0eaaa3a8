"""station.certificate.number_format against worked pairs, tabulated t, and its own promise."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.certificate.number_format import coverage_factor, expanded, number, pair, plain, uncertainty_text

NUMBERS = st.floats(-1e4, 1e4, allow_nan=False)
UNCERTAINTIES = st.floats(1e-6, 1e3)


@pytest.mark.parametrize(("value", "uncertainty", "printed"), [
    pytest.param(10.05762, 0.027, ("10.058", "0.027"), id="plain"),
    pytest.param(1.2345, 0.0996, ("1.23", "0.10"), id="the carry drops a digit"),
    pytest.param(5.0, 0.0996, ("5.00", "0.10"), id="zeros of the value stay"),
    pytest.param(3.14159, 1.04, ("3.1", "1.0"), id="zero of the uncertainty stays"),
    pytest.param(12345.6, 234, ("12\u202f350", "230"), id="tens"),
    pytest.param(-0.00004, 0.012, ("0.000", "0.012"), id="no minus before zero"),
    pytest.param(-119.98, 0.28, ("−119.98", "0.28"), id="negative"),
])
def test_value_and_uncertainty_end_at_the_same_place(value, uncertainty, printed):
    assert pair(value, uncertainty) == printed


@pytest.mark.parametrize(("uncertainty", "printed"), [(28.05, "28"), (0.01047, "0.010"), (0.995, "1.0")])
def test_uncertainty_has_two_digits_rounded_to_the_nearest(uncertainty, printed):
    assert uncertainty_text(uncertainty) == printed


def test_failing_value_is_not_printed_as_its_limit():
    shown = number(20.0004, 0.012, (None, 20.0), (None, 20.0))
    assert shown.value == "20.0004"
    assert shown.acceptance_upper == "20.0000"


@given(NUMBERS, UNCERTAINTIES, NUMBERS, st.floats(0, 1))
def test_print_never_contradicts_the_comparison(value, uncertainty, limit, guard):
    accept = limit - guard
    shown = number(value, uncertainty, (None, limit), (None, accept))
    printed, printed_accept = (Decimal(t.replace("−", "-").replace("\u202f", ""))
                               for t in (shown.value, shown.acceptance_upper))
    assert (printed <= Decimal(repr(limit))) == (value <= limit)
    assert (printed <= printed_accept) == (value <= accept)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 9, 10, 29, 59, 60, 200, 5000])
def test_coverage_factor_is_students_quantile(dof):
    assert coverage_factor(dof) == pytest.approx(stats.t.ppf(0.5 + 0.9545 / 2, dof), rel=2e-5)


def test_broken_degrees_are_cut_and_none_means_many():
    assert coverage_factor(7.9) == coverage_factor(7)
    assert coverage_factor(None) == coverage_factor(float("inf")) == 2.0
    assert coverage_factor(0.4) is None
    assert coverage_factor(float("nan")) is None


@pytest.mark.parametrize(("u", "dof"),
                         [(None, None), (float("nan"), None), (float("inf"), 9), (0.1, 0.2), (-1.0, 5)])
def test_no_expanded_uncertainty_without_a_sound_one(u, dof):
    assert expanded(u, dof) is None


@pytest.mark.parametrize(("typed", "printed"), [(9.6, "9.6"), (24, "24"), (-122.0, "−122"), (0.5415, "0.5415"),
                                                (0.0, "0"), (-0.0, "0"), (9.9e37, "9.900e37")])
def test_limits_are_printed_as_typed(typed, printed):
    assert plain(typed) == printed
