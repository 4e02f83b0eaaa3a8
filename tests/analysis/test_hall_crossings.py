"""Crossings of a threshold against the plain comparison of every sample with the one before."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from station.analysis.hall_crossings import CHUNK, crossings


def plain(codes, threshold):
    above = codes > threshold
    return np.flatnonzero(above[1:] != above[:-1]) + 1


@given(arrays(np.int16, st.integers(1, 400), elements=st.integers(-3, 3)), st.floats(-4, 4))
def test_every_crossing_is_found(codes, threshold):
    assert crossings(codes, [threshold]).tolist() == plain(codes, threshold).tolist()


@pytest.mark.parametrize("at", [1, 63, 64, 65, CHUNK - 1, CHUNK, CHUNK + 1, CHUNK + 128])
@pytest.mark.parametrize("resting", [0, 1000])
def test_a_pulse_of_one_sample_is_found_wherever_it_lies(at, resting):
    codes = np.full(CHUNK + 130, resting, dtype=np.int16)
    codes[at] = 1000 - resting
    assert crossings(codes, [500.0]).tolist() == [each for each in (at, at + 1) if each < codes.size]


def test_rails_lie_on_the_sides_of_a_threshold_between_them():
    codes = np.array([-32768, 32767, -32768], dtype=np.int16)
    assert crossings(codes, [-32767.5]).tolist() == [1, 2]
    assert crossings(codes, [32766.5]).tolist() == [1, 2]
    assert crossings(codes, [32767.0]).tolist() == []


@given(arrays(np.int16, st.integers(1, 300), elements=st.integers(-3, 3)))
def test_crossings_of_two_thresholds_are_those_of_either(codes):
    either = np.union1d(plain(codes, -1.5), plain(codes, 0.7))
    assert crossings(codes, [-1.5, 0.7]).tolist() == either.tolist()
