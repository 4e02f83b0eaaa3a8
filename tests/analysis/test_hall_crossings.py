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
    assert crossings(codes, threshold).tolist() == plain(codes, threshold).tolist()


@pytest.mark.parametrize("at", [1, 63, 64, 65, CHUNK - 1, CHUNK, CHUNK + 1, CHUNK + 128])
@pytest.mark.parametrize("resting", [0, 1000])
def test_a_pulse_of_one_sample_is_found_wherever_it_lies(at, resting):
    codes = np.full(CHUNK + 130, resting, dtype=np.int16)
    codes[at] = 1000 - resting
    assert crossings(codes, 500.0).tolist() == [each for each in (at, at + 1) if each < codes.size]


@pytest.mark.parametrize("threshold", [-40000.0, 32767.0, 40000.0])
def test_a_threshold_beyond_the_codes_is_never_crossed(threshold):
    assert crossings(np.array([-32768, 32767, -32768], dtype=np.int16), threshold).size == 0
