"""Changes of state against a plain walk over every sample."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from station.analysis.hall_crossings import CHUNK, state_runs

LOW, HIGH = 200, 4800


def changes(codes, lower=1500.0, upper=3500.0):
    """(last sample in the old state, first in the new, whether that is high) of each change."""
    starts, ends, high = state_runs(codes, lower, upper)
    at = np.flatnonzero(np.diff(high))
    return list(zip(ends[at].tolist(), starts[at + 1].tolist(), high[at + 1].tolist(), strict=True))


def walked(codes, lower, upper):
    found, state, last = [], None, None
    for index, code in enumerate(codes.tolist()):
        if lower < code <= upper:
            continue
        here = code > upper
        if state is not None and here != state:
            found.append((last, index, here))
        state, last = here, index
    return found


@given(st.lists(st.tuples(st.integers(-3, 3), st.integers(1, 150)), min_size=1, max_size=30))
@example(runs=[(-2, 64), (0, 64), (2, 1)])     # the middle is crossed between two words, the first of them on the way
def test_every_change_is_found(runs):
    codes = np.concatenate([np.full(length, level, dtype=np.int16) for level, length in runs])
    assert changes(codes, -1.5, 1.5) == walked(codes, -1.5, 1.5)


@given(arrays(np.int16, st.integers(1, 400), elements=st.integers(-3, 3)))
def test_every_change_in_noise_is_found(codes):
    assert changes(codes, -1.2, 0.7) == walked(codes, -1.2, 0.7)


@pytest.mark.parametrize("at", [1, 63, 64, 65, CHUNK - 1, CHUNK, CHUNK + 1, CHUNK + 128])
@pytest.mark.parametrize("resting", [LOW, HIGH])
def test_a_pulse_of_one_sample_is_found_wherever_it_lies(at, resting):
    codes = np.full(CHUNK + 130, resting, dtype=np.int16)
    codes[at] = LOW + HIGH - resting
    assert changes(codes) == [(at - 1, at, resting == LOW), (at, at + 1, resting == HIGH)]


@pytest.mark.parametrize("length", [10, 64, 1000, 5000])
def test_a_slow_edge_is_followed_to_both_of_its_ends(length):
    codes = np.concatenate([np.full(700, LOW), np.linspace(LOW, HIGH, length), np.full(700, HIGH)]).astype(np.int16)
    assert changes(codes) == walked(codes, 1500.0, 3500.0)
    assert len(changes(codes)) == 1


def test_rails_lie_on_the_sides_of_thresholds_between_them():
    codes = np.array([-32768, 32767, -32768], dtype=np.int16)
    assert changes(codes, -32767.5, 32766.5) == [(0, 1, True), (1, 2, False)]
