"""station.bench.drive_limits: what is refused, and how long rest is waited for."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.bench.drive_limits import DriveLimits, is_near
from station.clock import Clock, system_clock
from station.errors import BenchError, BenchNotFitError
from station.units import RPM

LIMITS = DriveLimits(6000 * RPM, 5.0, 30.0)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_only_numbers_within_the_limit_pass(speed):
    if abs(speed) <= 6000 * RPM:
        LIMITS.require_speed(speed)
    elif not abs(speed) <= 6000 * RPM * (1 + 1e-6):
        with pytest.raises(BenchNotFitError, match="speed refused"):
            LIMITS.require_speed(speed)


def ticking():
    """A clock that goes on only while somebody pauses."""
    now = [0.0]

    def pause(seconds):
        now[0] += seconds
    return Clock(system_clock().utc, lambda: now[0], pause), now


def test_waits_for_rest_no_longer_than_allowed():
    clock, now = ticking()
    with pytest.raises(BenchError, match="does not come to rest"):
        LIMITS.wait_for_rest(lambda: 10.0, clock)
    assert 30.0 < now[0] < 31.0


@pytest.mark.parametrize("never", [math.nan, math.inf])
def test_a_speed_that_is_no_number_is_no_rest(never):
    clock, _ = ticking()
    with pytest.raises(BenchError, match="does not come to rest"):
        LIMITS.wait_for_rest(lambda: never, clock)


def test_rest_ends_the_wait():
    clock, now = ticking()
    LIMITS.wait_for_rest(lambda: 10.0 - now[0], clock)
    assert now[0] == pytest.approx(10.0, abs=0.2)


@pytest.mark.parametrize(("speed", "target", "near"), [
    (100.0, 100.0, True), (96.0, 100.0, True), (90.0, 100.0, False), (-100.0, 100.0, False), (0.05, 0.0, True),
    (math.nan, 100.0, False), (1.0, 0.0, False),
])
def test_near(speed, target, near):
    assert is_near(speed, target) is near
