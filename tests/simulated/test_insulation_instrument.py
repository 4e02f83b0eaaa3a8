"""The insulation tester over its socket: dwell, discharge, guard, trip."""

import pytest


def error(client):
    return int(client.ask("SYST:ERR?").split(",")[0])


def test_reads_after_the_dwell_and_discharges(served, connect, until):
    tester = connect("insulation")
    before = served.rig.now()
    (ohms,) = tester.numbers("VOLT 500;:TRIG:DEL 1;:OUTP ON;:MEAS:RES?")
    assert served.rig.now() - before >= 1.0
    assert ohms == pytest.approx(served.rig.insulation_resistance(), rel=0.02)
    assert tester.numbers("MEAS:VOLT?")[0] == pytest.approx(500, rel=0.02)
    tester.send("OUTP OFF")
    until(lambda: tester.numbers("MEAS:VOLT?")[0] < 1.0)
    assert tester.ask("OUTP?;:OUTP:PROT:TRIP?") == "0;0"


def test_empty_fixture_reads_over_range(served, connect):
    served.rig.remove()
    assert connect("insulation").numbers("TRIG:DEL 0;:OUTP ON;:MEAS:RES?") == [9.9e37]


def test_voltage_stays_off_with_the_guard_open(served, connect):
    served.rig.open_guard()
    tester = connect("insulation")
    tester.send("OUTP ON")
    assert error(tester) == -221
    assert tester.numbers("OUTP?;:MEAS:VOLT?") == [0.0, 0.0]


def test_voltage_stays_off_while_the_shaft_turns(connect, start, until):
    start()
    drive, tester = connect("drive"), connect("insulation")
    drive.send("SPE 500;:OUTP ON")
    until(lambda: drive.ask("STAT:OPER:COND?") == "0")
    tester.send("OUTP ON")
    assert (error(tester), tester.ask("OUTP?")) == (-221, "0")


def test_guard_opened_during_the_dwell_gives_no_number(served, connect):
    tester = connect("insulation")
    assert tester.ask("TRIG:DEL 60;:OUTP ON;:OUTP?") == "1"
    tester.send("MEAS:RES?")
    served.rig.open_guard()
    assert float(tester.lines.readline()) == 9.91e37
    served.rig.close_guard()
    assert tester.ask("OUTP?") == "0"


def test_current_above_the_limit_trips_and_still_tells_the_resistance(served, connect):
    tester = connect("insulation")
    served.rig.remove()
    served.rig._insulation.connect(1e5, served.rig.now())
    served.rig.insulation_resistance = lambda: 1e5
    assert tester.ask("CURR:LIM 100UA;:OUTP ON;:OUTP?;:OUTP:PROT:TRIP?") == "0;1"
    assert tester.numbers("MEAS:RES?")[0] == pytest.approx(1e5, rel=0.02)
    assert tester.ask("*RST;:OUTP:PROT:TRIP?") == "0"


def test_no_reading_without_voltage(connect):
    tester = connect("insulation")
    assert tester.numbers("MEAS:RES?") == [9.91e37]
    assert error(tester) == -221
