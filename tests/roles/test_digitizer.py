"""The digitizer role against the embedded bench."""

import numpy as np
import pytest

from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS
from station.errors import BenchError
from station.units import RPM

INTERVAL, POINTS = 2e-5, 5000
RANGES = dict.fromkeys(VOLTAGE_CHANNELS, 20.0) | dict.fromkeys(HALL_CHANNELS, 8.0)


def take(bench, clock, wait_until):
    bench.digitizer.configure(RANGES, INTERVAL, POINTS)
    bench.digitizer.initiate()
    wait_until(bench.digitizer.is_done, clock)
    return bench.digitizer.fetch()


def test_six_signals_at_rest(station, wait_until):
    bench, _, _, clock = station
    bench.supply.on(5.0, 0.1)
    clock.pause(0.01)
    codes, channels = take(bench, clock, wait_until)
    assert set(codes) == set(channels) == set(CHANNELS)
    for name in CHANNELS:
        assert codes[name].shape == (POINTS,)
        assert codes[name].dtype == np.int16
    for name in VOLTAGE_CHANNELS:
        volts = channels[name].scale * codes[name] + channels[name].offset
        assert abs(np.mean(volts)) < 0.1


def test_turning_motor_gives_its_voltage(started, wait_until):
    bench, _, _, clock = started
    bench.drive.enable()
    bench.drive.spin(1500 * RPM, 8000 * RPM)
    wait_until(bench.drive.is_settled, clock)
    codes, channels = take(bench, clock, wait_until)
    bench.drive.stop()
    for name in VOLTAGE_CHANNELS:
        volts = channels[name].scale * codes[name].astype(float) + channels[name].offset
        assert 10.0 < np.ptp(volts) / 2 < 20.0   # a motor of some 10 V/krpm
        assert codes[name].max() < channels[name].code_max


def test_probe_ratio_scales_to_volts_at_the_motor(station, wait_until):
    bench, _, _, clock = station
    _, channels = take(bench, clock, wait_until)
    bench.digitizer.wiring["v_ab"] = type(bench.digitizer.wiring["v_ab"])(1, 10.0, 1e-7, 2e-7)
    _, probed = take(bench, clock, wait_until)
    assert probed["v_ab"].skew == 1e-7
    assert probed["v_ab"].lag == 2e-7
    # A tenth of the range at the input, ten volts per volt: the same range at the motor.
    assert probed["v_ab"].scale == pytest.approx(channels["v_ab"].scale, rel=0.1)


def test_fetch_before_a_capture_gives_no_codes(station):
    bench, *_ = station
    bench.digitizer.configure(RANGES, INTERVAL, POINTS)
    with pytest.raises(BenchError):
        bench.digitizer.fetch()


def test_abort_is_safe_at_any_time(station, wait_until):
    bench, _, _, clock = station
    bench.digitizer.abort()
    bench.digitizer.configure(RANGES, 1e-3, 100_000)
    bench.digitizer.initiate()
    assert not bench.digitizer.is_done()
    bench.digitizer.abort()
    assert bench.digitizer.is_done()
    codes, _ = take(bench, clock, wait_until)
    assert codes["v_ab"].size == POINTS


@pytest.mark.parametrize("points", [0, -1, 10**9])
def test_refuses_senseless_sizes(station, points):
    bench, *_ = station
    with pytest.raises(BenchError, match="samples"):
        bench.digitizer.configure(RANGES, INTERVAL, points)
