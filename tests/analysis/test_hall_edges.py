"""Edges of one line: timing on known shapes, bounce, and the ends of the record."""

import numpy as np
import pytest

from station.analysis.hall_edges import debounce_samples, find_edges
from station.analysis.hall_levels import find_levels
from station.analysis.hall_timing import time_edges
from station.capture import Channel

CHANNEL = Channel(scale=1e-3)
HALF_PERIOD = 1250.37      # samples; not whole, so that edges fall anywhere between samples


def square(shape, count=80, first=600.21, size=None):
    """Codes of `count` edges, `shape(t)` going 0 to 1 around t = 0, and their times."""
    times = first + HALF_PERIOD * np.arange(count)
    index = np.arange(size or int(times[-1] + 600))
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    share = np.zeros(index.size)
    for when, step in zip(times, sign, strict=True):
        share += step * shape(index - when)
    return 0.2 + 4.6 * share, times


def ramp(length):
    return lambda t: np.clip(t / length + 0.5, 0, 1)


def exponential(tau):
    """Passes one half at t = 0."""
    return lambda t: np.where(t > -tau * np.log(2), 1 - 0.5 * np.exp(-np.maximum(t, -tau * np.log(2)) / tau), 0)


def edges_of(volts):
    codes = np.round(volts * 1e3).astype(np.int16)
    (found,) = time_edges([find_edges(codes, find_levels(codes, CHANNEL), HALF_PERIOD / 3, 12)])
    return found


@pytest.mark.parametrize(("shape", "each", "mean"), [
    (ramp(0.2), 0.51, 0.06), (ramp(5.0), 0.08, 0.02), (ramp(20.0), 0.15, 0.03), (exponential(4.0), 0.25, 0.05),
])
def test_time_is_that_of_half_the_swing(shape, each, mean):
    rng = np.random.default_rng(5)
    volts, times = square(shape)
    found = edges_of(volts + 0.01 * rng.standard_normal(volts.size))
    assert found.sample.size == times.size
    assert found.extra_crossings == 0
    error = found.sample - times
    assert abs(error).max() < each
    for polarity in (True, False):
        assert abs(error[found.rising == polarity].mean()) < mean


def test_transition_is_10_to_90_percent():
    volts, _ = square(ramp(20.0))
    assert edges_of(volts).transition == pytest.approx(16.0, abs=0.1)
    volts, _ = square(exponential(4.0))
    assert edges_of(volts).transition == pytest.approx(4.0 * np.log(9), rel=0.05)


def test_bounce_is_counted_beside_the_edge_it_belongs_to():
    """Three one-sample pulses back after each edge: 80 edges of seven crossings each."""
    volts, times = square(ramp(0.5))
    for when, after in zip(times, np.tile([0.2, 4.8], 40), strict=True):
        for pulse in (3, 5, 7):
            volts[int(when) + pulse] = after
    found = edges_of(volts)
    assert found.sample.size == 80
    assert found.extra_crossings == 80 * 6
    assert abs(found.sample - times).max() < 1.0


def test_a_pulse_that_is_no_edge_is_counted_not_dropped():
    volts, times = square(ramp(0.5))
    volts[300] = 4.8
    found = edges_of(volts)
    assert found.sample.size == times.size
    assert found.extra_crossings == 2


def test_record_that_starts_in_an_edge_has_not_that_edge():
    """Five samples from 48 % to 100 % at the first sample."""
    volts, times = square(ramp(0.5), first=1250.0, count=20)
    volts = 5.0 - volts    # goes low at the first full edge
    volts[:5] = 0.2 + 4.6 * np.linspace(0.48, 1.0, 5)
    assert edges_of(volts).sample.size == times.size


def test_edge_without_a_settled_window_at_the_end_is_left_out():
    volts, times = square(ramp(10.0), count=20)
    cut = volts[: int(times[-1] + 4)]
    found = edges_of(cut)
    assert found.sample.size == 19
    assert found.cut == 1


def test_noise_on_a_slow_edge_is_no_bounce():
    rng = np.random.default_rng(9)
    volts, times = square(ramp(100.0))
    found = edges_of(volts + 0.1 * rng.standard_normal(volts.size))
    assert found.sample.size == times.size
    assert found.extra_crossings == 0


def test_debounce_is_the_shorter_of_50_us_and_a_twentieth_of_a_sector():
    assert debounce_samples(4e-6, 416.0) == 12
    assert debounce_samples(4e-6, 100.0) == 5
    assert debounce_samples(4e-6, 10.0) == 1
