"""station.simulated.shaft: ramps end on their target, settling, stopping, coasting, trips."""

from dataclasses import dataclass
from threading import RLock

import numpy as np
import pytest

from station.errors import UsageError
from station.simulated.shaft import DRIVE_DRAG, DRIVE_INERTIA, Shaft


@dataclass
class Flywheel:
    inertia: float = 1e-4
    cogging_order: int = 24
    cogging_torque: float = 0.0
    coulomb: float = 0.02
    viscous: float = 0.0

    def drag(self, speed):
        return self.coulomb + self.viscous * speed


class Bench:
    """A shaft with time in the test's hands."""

    def __init__(self, load=None):
        self.t, self.allowed = 0.0, True
        self.shaft = Shaft(lambda: self.t, RLock(), lambda: self.allowed, np.random.default_rng(3))
        self.shaft.couple(load or Flywheel())
        self.shaft.set_slew(2000.0)

    def run(self, rpm):
        self.shaft.set_target(rpm)
        assert self.shaft.enable(True)


def test_ramp_is_linear_and_ends_on_its_target():
    bench = Bench()
    bench.run(1000.0)
    assert bench.shaft.speed_rpm(0.25) == pytest.approx(500.0, rel=3e-3)
    bench.t = 0.51
    assert not bench.shaft.settled()
    bench.t = 0.56
    assert bench.shaft.settled()
    assert bench.shaft.motion().smooth_speed(0.56) == 1000.0 * 2 * np.pi / 60


def test_reversal_passes_through_rest():
    bench = Bench()
    bench.run(1000.0)
    bench.t = 1.0
    bench.shaft.set_target(-1000.0)
    assert bench.shaft.speed_rpm(1.5) == pytest.approx(0.0, abs=1e-6)
    bench.t = 2.1
    assert bench.shaft.settled()
    assert bench.shaft.speed_rpm(2.1) == pytest.approx(-1000.0, rel=3e-3)


def test_stop_ramps_down_and_switches_off():
    bench = Bench()
    bench.run(1000.0)
    bench.t = 1.0
    bench.shaft.stop()
    assert bench.shaft.enabled
    assert not bench.shaft.settled()
    bench.t = 1.5
    assert not bench.shaft.enabled
    assert bench.shaft.speed_rpm(5.0) == 0.0


def test_output_off_coasts_on_drag_and_inertia():
    bench = Bench()
    bench.run(1000.0)
    bench.t = 1.0
    bench.shaft.enable(False)
    deceleration = (0.02 + DRIVE_DRAG) / (1e-4 + DRIVE_INERTIA)
    rest = 1.0 + 1000.0 * 2 * np.pi / 60 / deceleration
    assert bench.shaft.speed_rpm((1.0 + rest) / 2) == pytest.approx(500.0, rel=3e-3)
    assert bench.shaft.speed_rpm(rest + 0.01) == 0.0
    assert bench.shaft.torque(1.1) == 0.0


def test_output_stays_off_without_leave():
    bench = Bench()
    bench.allowed = False
    bench.shaft.set_target(500.0)
    assert bench.shaft.enable(True) is False
    assert bench.shaft.speed_rpm(3.0) == 0.0


def test_target_above_the_limit_is_refused():
    bench = Bench()
    bench.shaft.set_limit(1500.0)
    with pytest.raises(UsageError, match="1500"):
        bench.shaft.set_target(-1600.0)
    assert bench.shaft.target_rpm == 0.0


@pytest.mark.parametrize("rpm", [1000.0, -1000.0])
def test_torque_is_drag_at_speed_and_more_while_speeding_up(rpm):
    bench = Bench()
    bench.run(rpm)
    pushing = (1e-4 + DRIVE_INERTIA) * 2000.0 * 2 * np.pi / 60
    assert bench.shaft.torque(0.2) == pytest.approx(0.02 + pushing)
    assert bench.shaft.torque(0.8) == pytest.approx(0.02)


def test_braking_winding_trips_the_drive_which_then_coasts():
    bench = Bench(Flywheel(viscous=0.05))
    bench.run(2000.0)
    assert bench.shaft.tripped is None
    bench.t = 2.0
    assert "torque" in bench.shaft.tripped
    assert not bench.shaft.enabled
    assert bench.shaft.enable(True) is False
    bench.t = 60.0
    assert bench.shaft.speed_rpm(60.0) == 0.0
    bench.shaft.clear_trip()
    bench.shaft.set_target(300.0)
    assert bench.shaft.enable(True)
    assert bench.shaft.tripped is None


def test_no_trip_after_the_output_went_off_in_time():
    bench = Bench(Flywheel(viscous=0.05))
    bench.run(2000.0)
    bench.t = 0.1
    bench.shaft.enable(False)
    bench.t = 5.0
    assert bench.shaft.tripped is None


def test_ripple_is_small_and_free_of_drift():
    bench = Bench()
    bench.run(1500.0)
    times = np.linspace(2.0, 4.0, 20001)
    speed = bench.shaft.motion().speed(times) * 60 / (2 * np.pi)
    assert 0.01 < np.std(speed) / 15.0 < 0.2
    assert np.mean(speed) == pytest.approx(1500.0, rel=2e-4)
