"""Ohmmeter, sensor supply, insulation tester, thermometer and guard against the embedded bench."""

import math

import pytest

from station.errors import BenchError, BenchNotFitError
from station.motor import LINES


def test_resistance_of_every_pair(station):
    bench, rig, *_ = station
    for pair in LINES:
        assert bench.ohmmeter.measure(pair) == pytest.approx(rig.pair_resistance(pair, rig.now()), rel=0.01)
    bench.ohmmeter.release()


def test_no_motor_reads_over_range(station):
    bench, rig, *_ = station
    rig.remove()
    assert bench.ohmmeter.measure("ab") == math.inf


def test_sensor_supply(station):
    bench, rig, *_ = station
    bench.supply.on(5.0, 0.1)
    assert bench.supply.voltage() == pytest.approx(5.0, rel=0.01)
    assert bench.supply.current() == pytest.approx(rig.sensor_supply_current(), rel=0.05)
    bench.supply.safe()
    assert rig.sensor_supply_current() == 0
    assert bench.supply.voltage() < 1.0


def test_insulation_is_measured_and_discharged(started):
    bench, rig, *_ = started
    bench.insulation.apply(500.0, 0.5)
    resistance = bench.insulation.resistance()
    assert resistance == pytest.approx(rig.insulation_resistance(), rel=0.1)
    bench.insulation.safe()
    assert bench.insulation.voltage() < 25.0


def test_insulation_voltage_is_refused_with_the_guard_open(station):
    bench, rig, *_ = station
    rig.open_guard()
    with pytest.raises(BenchNotFitError, match="open guard"):
        bench.insulation.apply(500.0, 0.5)
    assert rig.insulation_voltage() < 1.0


def test_temperatures(station):
    bench, rig, *_ = station
    assert bench.thermometer.winding() == pytest.approx(rig.temperature("winding"), abs=1.0)
    assert bench.thermometer.ambient() == pytest.approx(rig.temperature("ambient"), abs=1.0)


def test_start_counts_only_after_arming(station):
    bench, rig, *_ = station
    rig.press_start()
    assert not bench.guard.is_started()
    bench.guard.arm()
    assert not bench.guard.is_started()
    rig.press_start()
    assert bench.guard.is_started()
    bench.guard.disarm()
    assert not bench.guard.is_started()


def test_guard_and_emergency_stop_are_seen(station):
    bench, rig, *_ = station
    assert bench.guard.is_closed()
    assert bench.guard.is_emergency_stop_healthy()
    rig.open_guard()
    rig.emergency_stop_healthy = False
    assert not bench.guard.is_closed()
    assert not bench.guard.is_emergency_stop_healthy()


def test_every_role_identifies_itself_and_passes_its_self_test(station):
    bench, _, _, clock = station
    for report in bench.check(clock):
        assert report.faults == (), report
        assert report.self_test == "passed"
        assert report.identity is not None
        assert report.identity.maker == "EMBEDDED BENCH"


def test_unknown_pair_is_refused(station):
    bench, *_ = station
    with pytest.raises((BenchError, KeyError)):
        bench.ohmmeter.measure("ac")
