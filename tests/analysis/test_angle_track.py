"""station.analysis.angle_track on shafts that turn unevenly: the angle is known, so its error is."""

from dataclasses import dataclass

import numpy as np
import pytest
from waves import Turning, Winding, capture, motor

from station.analysis.angle_track import AngleTrack, first_motion, track_waves
from station.analysis.gate import expected_frequency, find_tone
from station.analysis.line_voltages import read_lines


@dataclass(frozen=True)
class Warbling(Turning):
    """A shaft whose ripple keeps no order: its frequency runs up during the capture, as a ringing coupling's does."""

    def angle(self, t):
        return super().angle(t) + 0.02 * np.sin(2 * np.pi * (40 * t + 60 * t**2))

    def speed(self, t):
        swing = 0.02 * 2 * np.pi * (40 + 120 * t) * np.cos(2 * np.pi * (40 * t + 60 * t**2))
        return super().speed(t) + swing / self.pole_pairs


def tracked(turning, **more):
    setting = {"rate": 100e3, "seconds": 0.4, "noise": 0.05} | more
    one = capture(turning, Winding(), np.random.default_rng(3), **setting)
    lines = read_lines(one, expected_frequency(one, motor(turning.pole_pairs)))
    tone = find_tone(lines, one, motor(turning.pole_pairs))
    motion, _rest = first_motion(lines, tone, turning.pole_pairs)
    found = track_waves(lines, motion, turning.pole_pairs, 25)
    error = found.angle - turning.angle(lines.times)
    return found, float(np.rad2deg(error.std()))


@pytest.mark.parametrize("turning", [
    Turning(), Turning(rpm=-1500, ripple=5e-3), Turning(ripple=5e-3), Turning(drift=0.02),
    Turning(pole_pairs=1, rpm=6000), Turning(pole_pairs=12, rpm=800, ripple=3e-3)])
def test_known_motions_leave_a_hundredth_of_a_degree(turning):
    found, error = tracked(turning)
    assert error < 0.01
    assert not found.motion.tuned.any()
    assert found.free_rms == 0.0


@pytest.mark.parametrize("direction", [1, -1])
def test_a_foreign_order_is_found_and_tuned(direction):
    found, error = tracked(Turning(rpm=1500 * direction, odd_ripple=3e-3))
    assert error < 0.01
    assert found.motion.orders[found.motion.tuned] == pytest.approx([3.7], abs=0.01)


def test_ripple_that_keeps_time_with_a_clock_tunes_the_known_order():
    """The speed falls by 3 % while the ripple stays at its frequency: its order drifts with it."""
    found, error = tracked(Turning(ripple=5e-3, drift=-0.02))
    assert error < 0.02
    assert found.motion.orders[found.motion.tuned][0] == pytest.approx(1.0, abs=0.02)


def test_what_keeps_no_order_is_followed_freely():
    found, error = tracked(Warbling())
    assert found.free_rms > 0
    assert error < 0.1                          # of 0.8 rms that a steady motion would leave


def test_noise_alone_tunes_nothing():
    for seed in range(20):
        rng = np.random.default_rng(seed)
        one = capture(Turning(), Winding(), rng, rate=50e3, seconds=0.2, noise=0.15)
        lines = read_lines(one, 100.0)
        found = track_waves(lines, first_motion(lines, find_tone(lines, one, motor()), 4)[0], 4, 25)
        assert not found.motion.tuned.any()
        assert found.free_rms == 0.0


def test_the_track_runs_on_straight_beyond_its_ends():
    times = np.array([0.1, 0.2, 0.3])
    track = AngleTrack(times, np.array([1.0, 2.0, 4.0]), 1, 1e-5, 100.0)
    assert track.rotor_angle(np.array([0.0, 0.15, 0.4])) == pytest.approx([0.0, 1.5, 6.0])
