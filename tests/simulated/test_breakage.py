"""What breaks inside instruments and on the bench, armed through the side channel alone."""

import pytest

from station.errors import BenchError
from station.simulated.bench import SimulatedBench
from station.simulated.side_channel import SideChannel


@pytest.fixture
def side(served):
    with SideChannel(served.side_port) as channel:
        yield channel


def test_restart_loses_settings_and_sets_power_on_while_the_connection_stays(side, connect):
    client = connect("supply")
    assert client.ask("*ESR?;*ESE 4;:VOLT 5;:OUTP ON;OUTP?") == "128;1"
    side.fault("supply", "restart")
    assert client.numbers("*ESR?;*ESE?;:VOLT?;OUTP?") == [128, 0, 0, 0]


def test_power_cut_closes_the_connections_too(side, connect):
    client = connect("ohmmeter")
    assert client.ask("FRES:RANG 10;*OPC?") == "1"
    side.fault("ohmmeter", "power_cut")
    client.send("*OPC?")
    while client.lines.readline():
        pass    # the answer may still come, then the end
    assert connect("ohmmeter").numbers("FRES:RANG?") == [100.0]


def test_other_serial_until_mended(side, connect):
    side.fault("thermometer", "other_serial", seconds=60.0)
    connect("thermometer").send("*OPC?")
    while not side.struck("thermometer"):
        pass
    assert "EB-XXX-999" in connect("thermometer").ask("*IDN?")
    side.mend()
    assert "EB-THM-001" in connect("thermometer").ask("*IDN?")


def test_error_left_in_the_queue(side, connect):
    side.fault("guard", "error_left")
    assert connect("guard").ask("SYST:ERR?").startswith("-310,")


def test_hands_of_the_bench(side, connect):
    side.fault("ohmmeter", "guard_opened", after=1)
    side.fault("ohmmeter", "emergency_stop", after=2)
    client, states = connect("ohmmeter"), []
    for _ in range(3):
        client.ask("*OPC?")
        state = side.state()
        states.append((state["guard_closed"], state["emergency_stop_healthy"]))
    assert states == [(True, True), (False, True), (False, False)]


def test_supply_trips_and_must_be_cleared(side, connect):
    supply = connect("supply")
    assert supply.ask("VOLT 5;:OUTP ON;*OPC?") == "1"
    side.fault("digitizer", "supply_tripped")
    assert connect("digitizer").ask("*OPC?") == "1"
    assert supply.ask("OUTP?;OUTP:PROT:TRIP?;CLE;:OUTP ON;OUTP?") == "0;1;1"


def test_sweep_without_trigger_never_ends_until_aborted(side, connect):
    client = connect("digitizer")
    client.send("SWE:POIN 300;TINT 1E-6")
    side.fault("digitizer", "no_trigger")
    client.send("INIT")
    assert client.ask("STAT:OPER:COND?") == "8"
    assert client.ask("STAT:OPER:COND?") == "8"
    client.send("ABOR;INIT")
    assert client.ask("*OPC?;STAT:OPER:COND?") == "1;0"


def test_clipped_channel_stands_at_the_rail_once(side, connect):
    client = connect("digitizer")
    client.send("SWE:POIN 300;TINT 1E-6;:FORM:BORD NORM")
    side.fault("digitizer", "clipped")
    client.send("INIT")
    assert client.ask("*OPC?;STAT:QUES:COND?") == "1;1"
    assert b"\x7f\xff" in client.block("TRAC? CH1")
    client.send("INIT")
    assert client.ask("*OPC?;STAT:QUES:COND?") == "1;0"


@pytest.mark.parametrize(("kind", "obeys"), [("no_ramp", True), ("runs_on", False)])
def test_drive_that_does_not_obey_still_obeys_the_guard(kind, obeys, side, served, connect):
    drive, rig = connect("drive"), served.rig
    rig.arm(on=True)
    rig.press_start()
    assert drive.ask("SPE 600;:OUTP ON;OUTP?") == "1"
    side.fault("drive", kind, seconds=60.0)
    assert drive.ask("ABOR;OUTP?") == "1"
    assert rig.shaft.target_rpm == 600.0
    assert drive.ask("OUTP OFF;OUTP?") == ("0" if obeys else "1")
    side.open_guard()
    assert not rig.shaft.enabled


def test_a_drive_over_modbus_has_no_faults_of_text(served):
    with SimulatedBench(served.rig, {}, drive="modbus") as bench, SideChannel(bench.side_port) as channel:
        for kind in ("stars", "return_line", "error_left"):
            with pytest.raises(BenchError, match="exception_code"):
                channel.fault("drive", kind)
        for kind in ("gremlin", "exception_code"):
            with pytest.raises(BenchError, match="half_close"):
                channel.fault("guard", kind)
        channel.mend()
