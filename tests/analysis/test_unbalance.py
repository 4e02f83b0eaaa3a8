"""Symmetrical components: relations that hold for any three phasors."""

from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.unbalance import (
    TURN,
    largest_deviation,
    negative_over_positive,
    symmetrical_components,
    unbalance_of_magnitudes,
)

FORWARD = np.array([1, TURN**-1, TURN**-2])  # b lags a
phasors = st.lists(st.complex_numbers(max_magnitude=1e3), min_size=3, max_size=3).map(np.array)


def test_b_lagging_a_is_the_positive_sequence():
    assert symmetrical_components(5 * FORWARD) == pytest.approx((0, 5, 0), abs=1e-12)
    assert symmetrical_components(5 * FORWARD.conj()) == pytest.approx((0, 0, 5), abs=1e-12)


def test_equal_phasors_are_all_zero_sequence():
    assert symmetrical_components(np.full(3, 2 + 1j)) == pytest.approx((2 + 1j, 0, 0), abs=1e-12)


@given(phasors)
def test_components_put_the_phasors_together_again(three):
    zero, positive, negative = symmetrical_components(three)
    again = zero + positive * FORWARD + negative * FORWARD.conj()
    assert again == pytest.approx(three, abs=1e-9)


@given(phasors, st.floats(0, 6.28))
def test_where_the_angle_starts_does_not_matter(three, turn):
    before, after = symmetrical_components(three), symmetrical_components(three * np.exp(1j * turn))
    assert np.abs(after) == pytest.approx(np.abs(before), abs=1e-9)


@given(weak=st.floats(0.0, 0.9))
def test_lines_and_phases_have_the_same_unbalance(weak):
    phases = FORWARD * np.array([1 - weak, 1, 1])
    lines = phases - np.roll(phases, -1)
    assert negative_over_positive(lines) == pytest.approx(negative_over_positive(phases), abs=1e-12)
    assert negative_over_positive(phases) == pytest.approx((weak / 3) / (1 - weak / 3), abs=1e-12)


def test_a_reversed_phase_doubles_the_negative_sequence():
    assert negative_over_positive(FORWARD * np.array([1, -1, 1])) == pytest.approx(2)


def test_no_positive_sequence_gives_no_ratio_that_could_pass():
    assert negative_over_positive(np.array([1, TURN, TURN**2])) > 1e12
    assert isnan(negative_over_positive(np.zeros(3, complex)))


def test_equal_magnitudes_are_balanced():
    assert unbalance_of_magnitudes([3.0, 3.0, 3.0]) == pytest.approx(0, abs=1e-7)
    assert largest_deviation([3.0, 3.0, 3.0]) == 0


def test_collinear_lines_are_wholly_unbalanced():
    assert unbalance_of_magnitudes([1.0, 0.5, 0.5]) == pytest.approx(1)


def test_largest_deviation_takes_either_side():
    assert largest_deviation([0.7, 1.1, 1.2]) == pytest.approx(0.3)
    assert largest_deviation([1.3, 0.9, 0.8]) == pytest.approx(0.3)
