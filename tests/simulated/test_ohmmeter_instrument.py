"""The ohmmeter over its socket: one pair at a time, over range, never with a turning shaft."""

import pytest

from station.motor import LINES


def test_reads_each_pair(served, connect):
    meter = connect("ohmmeter")
    for number, pair in enumerate(LINES, start=1):
        (ohms,) = meter.numbers(f"ROUT:CLOS (@{number});:MEAS:FRES?")
        assert ohms == pytest.approx(served.rig.pair_resistance(pair, served.rig.now()), rel=2e-3)
        assert meter.ask("ROUT:CLOS? (@1:3)").split(",").count("1") == 1


def test_open_leads_read_over_range(connect):
    meter = connect("ohmmeter")
    assert meter.numbers("ROUT:CLOS (@1);OPEN:ALL;:MEAS:FRES?") == [9.9e37]
    assert meter.ask("SYST:ERR?") == '0,"No error"'


def test_empty_fixture_and_a_small_range_read_over_range(served, connect):
    meter = connect("ohmmeter")
    served.rig.remove()
    assert meter.numbers("FRES:RANG 1;:ROUT:CLOS (@1);:MEAS:FRES?") == [9.9e37]


@pytest.mark.parametrize(("message", "code"), [("ROUT:CLOS (@1,2)", -221), ("ROUT:CLOS (@4)", -222)])
def test_refusals(connect, message, code):
    meter = connect("ohmmeter")
    meter.send(message)
    assert int(meter.ask("SYST:ERR?").split(",")[0]) == code


def test_turning_shaft_overloads(connect, start, until):
    start()
    drive, meter = connect("drive"), connect("ohmmeter")
    drive.send("SPE 500;:OUTP ON")
    until(lambda: drive.ask("STAT:OPER:COND?") == "0")
    assert meter.numbers("ROUT:CLOS (@1);:MEAS:FRES?") == [9.9e37]
