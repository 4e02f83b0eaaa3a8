"""The drive over its socket: guard and START first, settling, limit, stop, watchdog."""

import pytest


def settled(drive):
    return drive.ask("STAT:OPER:COND?") == "0"


def test_output_stays_off_without_start(connect):
    drive = connect("drive")
    drive.send("SPE 1000;:OUTP ON")
    assert drive.ask("SYST:ERR?").startswith("-221,")
    assert drive.ask("OUTP?;:MEAS:SPE?") == "0;0.000000000E+00"


def test_output_stays_off_with_the_guard_open_even_after_start(served, connect, start):
    start()
    served.rig.open_guard()
    drive = connect("drive")
    drive.send("SPE 1000;:OUTP ON")
    assert drive.ask("SYST:ERR?").startswith("-221,")
    assert drive.ask("OUTP?") == "0"


@pytest.mark.parametrize("rpm", [1500.0, -1500.0])
def test_reaches_and_holds_the_speed_in_both_directions(connect, start, until, rpm):
    start()
    drive = connect("drive")
    assert drive.ask(f"SPE:SLEW 20;:SPE {rpm};:OUTP ON;:STAT:OPER:COND?") == "2"
    drive.send(f"SPE:SLEW 3000;:SPE {rpm}")
    until(lambda: settled(drive))
    speed, torque, current = drive.numbers("MEAS:SPE?;TORQ?;CURR?")
    assert speed == pytest.approx(rpm, rel=3e-3)
    assert 1e-3 < torque < 0.2
    assert current > 0
    drive.send("ABOR")
    until(lambda: settled(drive))
    assert abs(drive.numbers("MEAS:SPE?")[0]) < 5
    assert drive.ask("OUTP?;:SPE?;:SYST:ERR?") == '0;0.000000000E+00;0,"No error"'


def test_an_opened_guard_never_looks_settled(served, connect, start, until):
    start()
    drive = connect("drive")
    drive.send("SPE 1500;:OUTP ON")
    until(lambda: settled(drive))
    served.rig.open_guard()
    assert drive.ask("OUTP?") == "0"
    until(lambda: abs(drive.numbers("MEAS:SPE?")[0]) < 5)
    assert drive.ask("STAT:OPER:COND?") == "2"


def test_level_set_while_stopping_waits_for_output_on(connect, start, until):
    start()
    drive = connect("drive")
    drive.send("SPE 1500;:OUTP ON")
    until(lambda: settled(drive))
    drive.send("ABOR;:SPE 3000")
    until(lambda: settled(drive))
    assert abs(drive.numbers("MEAS:SPE?")[0]) < 5


def test_limit_binds_and_cannot_go_below_the_level(connect):
    drive = connect("drive")
    drive.send("SPE:LIM 2000;:SPE -2001")
    assert drive.ask("SYST:ERR?") == '-222,"Data out of range"'
    drive.send("SPE 1900;SPE:LIM 1000")
    assert drive.ask("SYST:ERR?").startswith("-221,")
    assert drive.numbers("SPE? MAX;:SPE:LIM?") == [2000.0, 2000.0]


def test_watchdog_stops_the_shaft_when_nobody_speaks(served, connect, start, until):
    start()
    drive = connect("drive")
    drive.send("OUTP:PROT:WATC 0.2;:SPE 1500;:OUTP ON")
    until(lambda: settled(drive))
    until(lambda: not served.rig.shaft.enabled)     # looks at the physics: asking would feed the watchdog
    assert drive.ask("OUTP?;:OUTP:PROT:TRIP?;WATC?") == "0;0;2.000000000E-01"


def test_reset_stops(connect, start, until):
    start()
    drive = connect("drive")
    drive.send("SPE 1500;:OUTP ON")
    until(lambda: settled(drive))
    drive.send("*RST")
    until(lambda: drive.ask("OUTP?") == "0")
    assert drive.numbers("SPE?;:SPE:LIM?") == [0.0, 6000.0]
