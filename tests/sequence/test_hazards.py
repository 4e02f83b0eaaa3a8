"""What must hold before voltage and motion, on the embedded bench: each hazard refused, nothing live or turning."""

import math
from dataclasses import replace
from math import isclose, sqrt
from types import SimpleNamespace

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import load_limits, open_workplace
from station.errors import BenchNotFitError, FileContractError
from station.sequence.hazards import require_speed_allowed, require_speed_of_type, touch_speed
from station.sequence.station_file import load_station
from station.units import RPM


@pytest.fixture
def place(tmp_path):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    with open_workplace(load_station(tmp_path / "line" / "station.toml"), "tester") as opened:
        yield opened


def test_sensors_have_no_power_while_insulation_voltage_is_on_and_have_it_again_for_motion(place):
    rig, seen = place.attendant.rig, {}

    def look(notice):
        if notice.text.startswith("insulation voltage on"):
            seen["insulation"] = rig.sensor_supply_on
        elif notice.text == "Back-drive" or notice.kind == "speed":
            seen["motion"] = rig.sensor_supply_on
    assert place.test("CP40-0001", look).record["verdict"] == "PASS"
    assert seen == {"insulation": False, "motion": True}
    assert not rig.sensor_supply_on


def test_nothing_turns_while_the_winding_is_charged(place):
    rig, speeds = place.attendant.rig, []

    def charge(notice):
        if notice.text == "Back-drive":
            rig.set_insulation(500.0, on=True)
            while rig.insulation_voltage() < 100.0:
                place.clock.pause(0.001)
        elif notice.kind == "speed":
            speeds.append(notice.text)
    record = place.test("CP40-0001", charge).record
    assert record["verdict"] == "NO RESULT"
    assert "not discharged" in record["reason"]
    assert speeds == []


def test_what_was_left_switched_on_is_off_before_the_test_begins(place):
    rig, waited = place.attendant.rig, []
    place.bench.insulation.apply(500.0, 0.1)
    place.bench.supply.on(5.0, 0.1)

    def look(notice):
        if notice.kind == "wait":
            waited.append((rig.insulation_voltage() < 25.0, rig.sensor_supply_on))
    assert place.test("CP40-0001", look).record["verdict"] == "PASS"
    assert waited == [(True, False)]


def test_no_insulation_voltage_while_the_shaft_turns(place):
    rig, said = place.attendant.rig, []

    def turn(notice):
        said.append(notice.text)
        if notice.text == "Insulation":
            rig.shaft.set_target(600.0)
            assert rig.shaft.enable(True)
            while rig.shaft.speed_rpm(rig.now()) < 100.0:
                place.clock.pause(0.001)
    record = place.test("CP40-0001", turn).record
    assert record["verdict"] == "NO RESULT"
    assert "the shaft turns" in record["reason"]
    assert not any("insulation voltage on" in text for text in said)
    assert abs(rig.shaft.speed_rpm(rig.now())) < 1.0


def test_touch_voltage_speed_is_that_of_the_strongest_motor_within_limits(place):
    # 25 V rms is 25 sqrt(2) V peak; the limit file allows 10.4 V/krpm peak. Worked by hand.
    assert isclose(touch_speed(load_limits(place.station, "CP40-0001")) / RPM, 25 * sqrt(2) / 10.4 * 1000, rel_tol=1e-9)


@pytest.mark.parametrize(("rpm", "closed", "allowed"), [
    (3390.0, False, True), (3410.0, False, False), (-3410.0, False, False), (float("nan"), False, False),
    (5000.0, True, True),
])
def test_above_the_touch_voltage_speed_only_behind_a_closed_guard(rpm, closed, allowed, place):
    test = SimpleNamespace(bench=place.bench, limits=load_limits(place.station, "CP40-0001"))
    if not closed:
        place.attendant.rig.open_guard()
    if allowed:
        require_speed_allowed(test, rpm * RPM)
    else:
        with pytest.raises(BenchNotFitError, match="25 V"):
            require_speed_allowed(test, rpm * RPM)


@pytest.mark.parametrize(("bears", "refused"), [(None, False), (1999.0, True), (2000.0, False), (math.nan, True)])
def test_a_sequence_faster_than_the_type_bears_is_refused_by_file_and_key(bears, refused, place):
    # The shipped sequence goes up to 2000 r/min.
    limits = load_limits(place.station, "CP40-0001")
    kind = replace(limits.motor_type, max_speed=None if bears is None else bears * RPM)
    if not refused:
        require_speed_of_type(replace(limits, motor_type=kind), place.sequence)
        return
    with pytest.raises(FileContractError) as caught:
        require_speed_of_type(replace(limits, motor_type=kind), place.sequence)
    fault, = caught.value.faults
    assert (fault.file, fault.key) == ("CP-40.toml", "type.max_speed_rpm")
    assert "2000" in fault.got
