"""The digitizer with four channels behind a switch, and the one for the sensors."""

import numpy as np
import pytest

from station.errors import UsageError
from station.simulated.bench import SENSOR_DIGITIZER, SimulatedBench


@pytest.fixture
def served(request, served_with):
    """The bench with the digitizers that the test asks for."""
    with served_with(digitizers=request.param) as bench:
        yield bench


def turn(connect, start, until):
    start()
    connect("supply").ask("VOLT 5;CURR 0.1;:OUTP ON;*OPC?")
    drive = connect("drive")
    drive.send("SPE 1500;:OUTP ON")
    until(lambda: drive.ask("STAT:OPER:COND?") == "0")


def sweep(client, channels):
    client.send("SWE:POIN 4000;TINT 20E-6;:FORM INT,16;:FORM:BORD SWAP")
    client.ask(";".join(f":VOLT{channel}:RANG 40" for channel in channels) + ";*OPC?")
    assert client.ask("INIT;*OPC?") == "1"
    return [np.frombuffer(client.block(f"TRAC? CH{channel}"), "<i2") * (40 / 32768) for channel in channels]


@pytest.mark.parametrize("served", ["four channels"], indirect=True)
def test_the_switch_changes_what_two_of_four_channels_carry(connect, start, until):
    turn(connect, start, until)
    digitizer = connect("digitizer")
    assert digitizer.ask("*IDN?").split(",")[1:3] == ["DIGITIZER-4", "EB-DIG-004"]
    lines = sweep(digitizer, (1, 2, 3, 4))
    assert digitizer.ask("ROUT:CLOS? (@1,2)") == "1,0"
    digitizer.send("ROUT:CLOS (@2)")
    assert digitizer.ask("ROUT:CLOS? (@1,2)") == "0,1"
    sensors = sweep(digitizer, (1, 2, 3, 4))
    swings = [[round(float(np.ptp(each))) for each in four] for four in (lines, sensors)]
    assert swings[0][0] == pytest.approx(swings[1][0], abs=1)
    assert min(swings[0][0], *swings[0][2:]) > 20
    assert {swings[0][1], *swings[1][1:]} == {5}


@pytest.mark.parametrize("served", ["four channels"], indirect=True)
def test_a_switch_knows_its_positions_and_when_to_hold_still(connect):
    digitizer = connect("digitizer")
    for message, error in (("ROUT:CLOS (@3)", -222), ("ROUT:CLOS (@1,2)", -221), ("ROUT:CLOS 2", -104),
                           ("VOLT5:RANG 8", -114), ("TRAC? CH5", -224)):
        digitizer.send(message)
        assert int(digitizer.ask("SYST:ERR?").split(",")[0]) == error
    digitizer.send("SWE:POIN 5000;TINT 1E-3;:INIT")
    digitizer.send("ROUT:CLOS (@2)")
    assert int(digitizer.ask("SYST:ERR?").split(",")[0]) == -221
    digitizer.send("ABOR;:ROUT:CLOS (@2)")
    assert digitizer.ask("ROUT:CLOS? (@2);*RST;:ROUT:CLOS? (@1)") == "1;1"


@pytest.mark.parametrize("served", ["six channels"], indirect=True)
def test_the_six_channel_digitizer_has_no_switch(connect):
    digitizer = connect("digitizer")
    digitizer.send("ROUT:CLOS (@1)")
    assert int(digitizer.ask("SYST:ERR?").split(",")[0]) == -113


@pytest.mark.parametrize("served", ["two instruments"], indirect=True)
def test_a_second_digitizer_takes_line_and_sensors(connect, start, until):
    turn(connect, start, until)
    volts = sweep(connect(SENSOR_DIGITIZER), (1, 2, 3, 4))
    assert np.ptp(volts[0]) > 20
    assert {round(float(np.ptp(each))) for each in volts[1:]} == {5}


@pytest.mark.parametrize("served", ["six channels"], indirect=True)
def test_only_that_bench_has_it(served):
    with pytest.raises(UsageError, match="sensor_digitizer"):
        SimulatedBench(served.rig, {SENSOR_DIGITIZER: 0})
