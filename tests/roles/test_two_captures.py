"""Six signals in two captures against the embedded bench: a switch before four channels, and two digitizers."""

import numpy as np
import pytest

from station.bench.roles import ROLES, SENSOR_DIGITIZER
from station.capture import HALL_CHANNELS, VOLTAGE_CHANNELS
from station.errors import BenchError
from station.units import RPM

INTERVAL, POINTS = 2e-5, 5000
RANGES = dict.fromkeys(VOLTAGE_CHANNELS, 20.0) | dict.fromkeys(HALL_CHANNELS, 8.0)


def take(bench, part, clock, wait_until):
    digitizer = bench.digitizer_of(part)
    digitizer.configure({name: RANGES[name] for name in part.signals}, INTERVAL, POINTS)
    digitizer.initiate()
    wait_until(digitizer.is_done, clock)
    codes, channels = digitizer.fetch()
    return {name: channels[name].scale * codes[name] + channels[name].offset for name in codes}


@pytest.mark.parametrize("digitizers", ["four channels", "two instruments"])
def test_both_parts_carry_their_own_signals(open_embedded, wait_until, digitizers):
    with open_embedded(digitizers=digitizers) as (bench, rig, _, clock):
        rig.place("CP40-0001")
        bench.supply.on(5.0, 0.1)
        bench.guard.arm()
        rig.press_start()
        bench.drive.enable()
        bench.drive.spin(1500 * RPM, 8000 * RPM)
        wait_until(bench.drive.is_settled, clock)
        for part in bench.file.capture_parts:
            volts = take(bench, part, clock, wait_until)
            assert set(volts) == set(part.signals)
            for name, each in volts.items():
                if name in VOLTAGE_CHANNELS:
                    assert 10.0 < np.ptp(each) / 2 < 20.0
                else:
                    assert np.ptp(each) == pytest.approx(4.8, abs=0.5)
                    assert each.min() > -0.5
        bench.drive.stop()


def test_signals_of_unlike_positions_are_never_taken_together(open_embedded):
    with open_embedded(digitizers="four channels") as (bench, *_), pytest.raises(BenchError, match="together"):
        bench.digitizer.configure({"v_bc": 20.0, "h_b": 8.0}, INTERVAL, POINTS)


def test_a_switch_that_does_not_change_over_is_told(open_embedded):
    # The file's second position is one that the switch reports open when the first is closed.
    with open_embedded(digitizers="four channels") as (bench, *_):
        stuck = dict(bench.digitizer.dialect.templates) | {"select": ("ROUT:CLOS (@1)",)}
        bench.digitizer.dialect.templates.update(stuck)
        first, second = bench.file.capture_parts
        bench.digitizer.configure({name: RANGES[name] for name in first.signals}, INTERVAL, POINTS)
        with pytest.raises(BenchError, match="did not change over"):
            bench.digitizer.configure({name: RANGES[name] for name in second.signals}, INTERVAL, POINTS)


def test_a_second_digitizer_is_checked_like_every_role(open_embedded):
    with open_embedded(digitizers="two instruments") as (bench, _, _, clock):
        reports = bench.check(clock)
        assert [report.role for report in reports] == [*ROLES, SENSOR_DIGITIZER]
        assert all(not report.faults for report in reports)
        assert bench.safe_state() == []


def test_a_bench_without_it_has_no_second_digitizer(open_embedded):
    with open_embedded() as (bench, _, _, clock):
        assert SENSOR_DIGITIZER not in [report.role for report in bench.check(clock)]
        assert bench.sensor_digitizer is None
        assert bench.safe_state() == []
