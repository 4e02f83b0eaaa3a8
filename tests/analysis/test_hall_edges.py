"""Edges of one line: bounce, pulses that are none, and the ends of the record."""

import numpy as np
from hall_lines import edges_of, ramp, square

from station.analysis.hall_edges import debounce_samples


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
