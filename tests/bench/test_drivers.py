"""Drivers of all roles against instruments that answer what they should not: never a value, always an error."""

from pathlib import Path

import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import SHIPPED, load_dialect, parse_dialect
from station.bench.digitizer import ScpiDigitizer, Wiring
from station.bench.drive import ScpiDrive
from station.bench.drive_limits import DriveLimits
from station.bench.guard import ScpiGuard
from station.bench.insulation_tester import ScpiInsulationTester
from station.bench.ohmmeter import ScpiOhmmeter
from station.bench.sensor_supply import ScpiSensorSupply
from station.bench.thermometer import ScpiThermometer
from station.clock import system_clock
from station.errors import BenchError, BenchNotFitError
from station.toml_file import parse_toml
from station.units import RPM


def dialect(role):
    return load_dialect(f"embedded_{role}", Path(), role, NEEDS[role])


@pytest.fixture
def guard(toy, session):
    toy.answers["SENS:DIG:DATA?"] = "5"
    return ScpiGuard(session, dialect("guard"))


@pytest.fixture
def drive(toy, session, guard):
    toy.answers |= {"OUTP?": "1", "MEAS:SPE?": "0", "STAT:OPER:COND?": "0", "OUTP:PROT:TRIP?": "0"}
    return ScpiDrive(session, dialect("drive"), guard, DriveLimits(6000 * RPM, 5.0, 0.2), system_clock())


@pytest.fixture
def digitizer(toy, session):
    toy.answers |= {"SENS:SWE:TINT?": "1E-5", "SENS:SWE:POIN?": "100", "SENS:VOLT1:RANG?": "2.0",
                    "SENS:VOLT1:SCAL?": "1E-4", "SENS:VOLT1:OFFS?": "0.5"}
    return ScpiDigitizer(session, dialect("digitizer"), {"v_ab": Wiring(1, 10.0, 0.0, 0.0)})


@pytest.mark.parametrize("state", ["9.91E37", "1.5", "-1", "open", ""])
def test_doubtful_guard_is_never_closed(toy, guard, state):
    toy.answers["SENS:DIG:DATA?"] = state
    with pytest.raises(BenchError):
        guard.is_closed()


def test_drive_that_does_not_come_on(toy, drive):
    toy.answers["OUTP?"] = "0"
    with pytest.raises(BenchError, match="did not switch on"):
        drive.enable()


def test_drive_is_told_limit_and_watchdog_before_it_comes_on(toy, drive):
    drive.enable()
    assert toy.commands == ["SOUR:SPE:LIM 6000", "OUTP:PROT:WATC 5", "SOUR:SPE 0", "OUTP ON"]


def test_open_guard_keeps_the_drive_from_every_command(toy, drive):
    toy.answers["SENS:DIG:DATA?"] = "4"
    with pytest.raises(BenchNotFitError):
        drive.spin(100.0, 10.0)
    assert toy.commands == []


def test_settled_at_another_speed_is_not_settled(toy, drive):
    drive.enable()
    drive.spin(1000 * RPM, 100 * RPM)
    toy.answers["MEAS:SPE?"] = "900"
    assert not drive.is_settled()
    toy.answers["MEAS:SPE?"] = "1000"
    assert drive.is_settled()
    toy.answers["OUTP?"] = "0"
    assert not drive.is_settled()


def test_shaft_that_does_not_stop_is_switched_off_and_told(toy, drive):
    toy.answers["MEAS:SPE?"] = "1000"
    with pytest.raises(BenchError, match="does not come to rest"):
        drive.stop()
    assert toy.commands == ["ABOR", "OUTP OFF"]


def test_drive_that_rests_but_does_not_switch_off_is_told(toy, drive):
    with pytest.raises(BenchError, match=r"did not switch off.*emergency stop"):
        drive.stop()
    toy.answers["OUTP?"] = "0"
    drive.stop()


def test_drive_without_a_speed_reading_is_switched_off(toy, drive):
    toy.answers["MEAS:SPE?"] = "9.91E37"
    with pytest.raises(BenchError):
        drive.stop()
    assert toy.commands == ["ABOR", "OUTP OFF"]


@pytest.mark.parametrize(("answer", "trip"), [
    ("0", None), ('""', None), ("1", "tripped"), ('"over current"', "over current"),
])
def test_trip(toy, drive, answer, trip):
    toy.answers["OUTP:PROT:TRIP?"] = answer
    assert drive.trip() == trip


def test_a_drive_of_another_make_is_read_as_its_dialect_says(toy, session, guard):
    text = (SHIPPED / "embedded_drive.toml").read_text(encoding="utf-8")
    text += """
[answers]
speed = { form = "csv", part = 2, times = 10.0 }
is_on = { form = "bool" }
trip = { form = "map", map = { NONE = 0, HOT = 1 } }
"""
    other = parse_dialect(parse_toml(text.encode(), "my.toml"), "drive", NEEDS["drive"])
    drive = ScpiDrive(session, other, guard, DriveLimits(6000 * RPM, 5.0, 0.2), system_clock())
    toy.answers |= {"OUTP?": "ON", "MEAS:SPE?": "RPM,150", "OUTP:PROT:TRIP?": "NONE"}
    drive.enable()
    assert drive.speed() == pytest.approx(1500 * RPM)
    assert drive.trip() is None
    toy.answers["OUTP:PROT:TRIP?"] = "HOT"
    assert drive.trip() == "tripped"
    toy.answers["OUTP:PROT:TRIP?"] = "PERHAPS"
    with pytest.raises(BenchError):
        drive.trip()


@pytest.mark.parametrize(("query", "answer"), [
    ("SENS:SWE:TINT?", "1.01E-5"), ("SENS:SWE:POIN?", "99"), ("SENS:VOLT1:RANG?", "1.0"),
])
def test_coerced_setting_is_refused(toy, digitizer, query, answer):
    toy.answers[query] = answer
    with pytest.raises(BenchError, match="the digitizer"):
        digitizer.configure({"v_ab": 20.0}, 1e-5, 100)


def test_codes_become_volts_at_the_motor(toy, digitizer):
    toy.answers["TRAC? CH1"] = b"#3200" + bytes(range(200)) + b"\n"
    digitizer.configure({"v_ab": 20.0}, 1e-5, 100)
    codes, channels = digitizer.fetch()
    assert codes["v_ab"][:2].tolist() == [0x0100, 0x0302]   # little endian
    assert channels["v_ab"].scale == pytest.approx(1e-3)
    assert channels["v_ab"].offset == pytest.approx(5.0)
    assert "SENS:VOLT1:RANG 2" in toy.commands


@pytest.mark.parametrize("scale", ["0", "-1E-4", "9.91E37", "9.9E37"])
def test_senseless_scale_gives_no_capture(toy, digitizer, scale):
    digitizer.configure({"v_ab": 20.0}, 1e-5, 100)
    toy.answers["SENS:VOLT1:SCAL?"] = scale
    with pytest.raises(BenchError):
        digitizer.fetch()


def test_minus_over_range_is_no_resistance(toy, session):
    toy.answers["MEAS:FRES?"] = "-9.9E37"
    with pytest.raises(BenchError, match="under range"):
        ScpiOhmmeter(session, dialect("ohmmeter")).measure("ab")
    assert toy.commands == ["ROUT:OPEN:ALL", "ROUT:CLOS (@1)"]


def test_supply_that_does_not_come_on_or_go_off(toy, session):
    supply = ScpiSensorSupply(session, dialect("supply"))
    toy.answers["OUTP?"] = "0"
    with pytest.raises(BenchError, match="did not switch on"):
        supply.on(5.0, 0.1)
    toy.answers["OUTP?"] = "1"
    with pytest.raises(BenchError, match="did not switch off"):
        supply.safe()


def test_winding_that_does_not_discharge_is_told(toy, session, guard):
    tester = ScpiInsulationTester(session, dialect("insulation"), guard, system_clock(), 25.0, 0.1)
    toy.answers["MEAS:VOLT?"] = "480"
    with pytest.raises(BenchError, match="not discharged"):
        tester.safe()
    assert toy.commands == ["OUTP OFF"]


def test_negative_insulation_is_no_result(toy, session, guard):
    tester = ScpiInsulationTester(session, dialect("insulation"), guard, system_clock())
    toy.answers |= {"TRIG:DEL?": "0.1", "MEAS:RES?": "-1E6"}
    with pytest.raises(BenchError, match="negative"):
        tester.resistance()


@pytest.mark.parametrize("answer", ["9.91E37", "9.9E37", "-200", "1000", "?"])
def test_broken_temperature_sensor_gives_no_temperature(toy, session, answer):
    toy.answers["MEAS:TEMP? (@1)"] = answer
    with pytest.raises(BenchError):
        ScpiThermometer(session, dialect("thermometer")).winding()
