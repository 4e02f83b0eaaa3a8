"""station.simulated.motion: the angle is the exact integral of the speed, over ramps and ripple."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.simulated.motion import Leg, Motion, Ripple

RIPPLES = (Ripple(1, 2e-3, 0.4), Ripple(24, 1e-3, 1.0))
steps = st.lists(st.tuples(st.floats(0.05, 0.6), st.floats(-400.0, 400.0)), min_size=1, max_size=5)


def course(changes):
    motion, at = Motion((Leg(0.0, 0.3, 0.0, 0.0, 0.0),), RIPPLES, 7.3, 1e-3), 0.0
    for gap, acceleration in changes:
        at += gap
        motion = motion.then(at, acceleration, 40)
    return motion, at


@settings(max_examples=25, deadline=None)
@given(steps)
def test_angle_is_the_integral_of_speed(changes):
    motion, end = course(changes)
    times = np.linspace(0.0, end + 0.5, 20001)
    speed = motion.speed(times)
    summed = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(times))])
    angle = motion.angle(times)
    assert angle - angle[0] == pytest.approx(summed, abs=2e-2)
    assert np.max(np.abs(np.diff(angle) - np.diff(summed))) < 1e-4


@settings(max_examples=25, deadline=None)
@given(steps)
def test_angle_does_not_jump_where_a_leg_begins(changes):
    motion, _ = course(changes)
    for leg in motion.legs[1:]:
        before, after = motion.angle(np.array([leg.start - 1e-9, leg.start]))
        assert after - before == pytest.approx(0.0, abs=1e-5)


def test_sampling_a_part_gives_the_same_angles_as_sampling_all():
    motion, end = course([(0.1, 300.0), (0.3, 0.0), (0.2, -150.0)])
    times = np.linspace(0.0, end + 1.0, 4001)
    whole = motion.angle(times)
    parts = np.concatenate([motion.angle(times[i:i + 100]) for i in range(0, times.size, 100)])
    assert np.array_equal(whole, parts)


def test_constant_acceleration_without_ripple_is_the_schoolbook_parabola():
    motion = Motion((Leg(0.0, 0.0, 5.0, 20.0, 0.0),), (), 7.3, 0.0)
    assert motion.angle(np.array([0.0, 1.0, 2.0])) == pytest.approx([0.0, 15.0, 50.0])
    assert motion.speed(np.array([0.0, 1.0, 2.0])) == pytest.approx([5.0, 25.0, 45.0])


def test_old_legs_are_forgotten():
    motion, _ = course([(0.1, 1.0)] * 4)
    assert len(motion.then(9.0, 0.0, 3).legs) == 3
