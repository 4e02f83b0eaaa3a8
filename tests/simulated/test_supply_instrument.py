"""The sensor supply over its socket."""

import pytest


def test_feeds_the_sensors_and_reads_back(served, connect):
    supply = connect("supply")
    volts, amperes = supply.numbers("VOLT 5;CURR 0.1;:OUTP ON;:MEAS:VOLT?;CURR?")
    assert volts == pytest.approx(5.0, rel=1e-3)
    assert amperes == pytest.approx(served.rig.sensor_supply_current(), rel=1e-3)
    assert amperes > 1e-3
    assert supply.numbers("OUTP OFF;:MEAS:VOLT?;CURR?") == [0.0, 0.0]


def test_too_much_current_trips_until_cleared(connect):
    supply = connect("supply")
    assert supply.ask("VOLT 5;CURR 2MA;:OUTP ON;:OUTP?;:OUTP:PROT:TRIP?;:STAT:QUES:COND?") == "0;1;2"
    supply.send("OUTP ON")
    assert supply.ask("SYST:ERR?").startswith("-221,")
    assert supply.ask("OUTP:PROT:CLE;TRIP?;:CURR 100MA;:OUTP ON;:OUTP?") == "0;1"


def test_reset_switches_off(connect):
    assert connect("supply").ask("VOLT 5;:OUTP ON;*RST;:OUTP?;:VOLT?") == "0;0.000000000E+00"
