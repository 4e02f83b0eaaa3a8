"""Times of edges on known shapes, finer than a sample."""

import numpy as np
import pytest
from hall_lines import edges_of, exponential, found_in, ramp, square

from station.analysis.hall_timing import time_edges


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


def test_all_sensors_at_once_are_timed_as_each_alone():
    rng = np.random.default_rng(8)
    lines = [square(shape, count=20, first=600.0 + 90 * number)[0]
             for number, shape in enumerate((ramp(4.0), exponential(9.0), ramp(0.3)))]
    found = [found_in(volts + 0.01 * rng.standard_normal(volts.size)) for volts in lines]
    for together, each in zip(time_edges(found), found, strict=True):
        (alone,) = time_edges([each])
        assert together.sample == pytest.approx(alone.sample, abs=6e-3)
        assert together.transitions == pytest.approx(alone.transitions, abs=2e-2)


def test_rising_and_falling_edges_have_durations_of_their_own():
    rise, fall = ramp(20.0), exponential(3.0)
    volts, _ = square(rise, count=40)
    other, _ = square(fall, count=40)
    going_up = np.gradient(square(ramp(200.0), count=40)[0]) > 0
    edges = edges_of(np.where(going_up, volts, other))
    assert edges.transitions == pytest.approx((16.0, 3.0 * np.log(9)), rel=0.03)


def test_edges_of_another_shape_are_timed_by_area_at_their_half():
    """A plateau at 60 % for ten samples: no ramp behind a low pass."""
    volts, times = square(lambda t: np.clip(0.1 * t + 0.5, 0, 0.6) + 0.4 * (t > 11))
    edges = edges_of(volts)
    assert abs(edges.sample - times).max() < 0.5
    assert edges.sample.size == 80


def test_no_edges_have_no_times():
    found = found_in(square(ramp(5.0), count=4)[0])
    none = np.zeros(found.clean.size, dtype=bool)
    (edges,) = time_edges([type(found)(found.codes, found.levels, found.edges.pick(none), found.clean[none],
                                       found.reach, 0, 0)])
    assert edges.sample.size == 0
    assert np.isnan(edges.transition)
    assert time_edges([]) == []
