"""The digitizer over its socket: sweeps in simulated time, blocks, byte order, stale data, clipping."""

import numpy as np
import pytest


def codes(client, channel, order="<i2"):
    return np.frombuffer(client.block(f"TRAC? CH{channel}"), order)


def error_after(client, message):
    client.send(message)
    return int(client.ask("SYST:ERR?").split(",")[0])


@pytest.fixture
def digitizer(connect):
    client = connect("digitizer")
    client.send("SWE:POIN 5000;TINT 20E-6;:FORM INT,16;:FORM:BORD SWAP;:TRIG:SOUR IMM")
    return client


def test_no_sweep_no_data(digitizer):
    assert error_after(digitizer, "TRAC? CH1") == -230
    assert error_after(digitizer, "TRAC:POIN? CH1") == -230


def test_sweep_takes_its_simulated_time(served, digitizer):
    before = served.rig.now()
    digitizer.send("SWE:TINT 1E-3;:INIT")
    assert digitizer.ask("STAT:OPER:COND?") == "8"
    assert error_after(digitizer, "TRAC? CH1") == -230
    assert error_after(digitizer, "INIT") == -213
    assert error_after(digitizer, "VOLT1:RANG 20") == -221
    assert digitizer.ask("*OPC?;:STAT:OPER:COND?") == "1;0"
    assert served.rig.now() - before >= 5.0


def test_completion_sets_its_bit_only_after_the_sweep(digitizer, until):
    assert digitizer.ask("*CLS;:SWE:TINT 1E-3;:INIT;*OPC;*ESR?") == "0"
    until(lambda: digitizer.ask("STAT:OPER:COND?") == "0")
    assert digitizer.ask("*OPC?;*ESR?;:STAT:OPER?") == "1;1;8"  # the samples are in, their conversion ends now


def test_codes_are_made_once_and_both_byte_orders_agree(digitizer):
    assert digitizer.ask("INIT;*OPC?") == "1"
    little = codes(digitizer, 1)
    digitizer.send("FORM:BORD NORM")
    assert np.array_equal(codes(digitizer, 1, ">i2"), little)
    assert (digitizer.ask("TRAC:POIN? 'CH1'"), little.size) == ("5000", 5000)


def test_spinning_motor_shows_back_emf_and_sensors(served, digitizer, connect, start, until):
    start()
    connect("supply").ask("VOLT 5;CURR 0.1;:OUTP ON;*OPC?")
    drive = connect("drive")
    drive.send("SPE 1500;:OUTP ON")
    until(lambda: drive.ask("STAT:OPER:COND?") == "0")
    for channel in range(1, 7):
        digitizer.send(f"VOLT{channel}:RANG {40 if channel < 4 else 8}")
    assert digitizer.ask("INIT;*OPC?;:STAT:QUES:COND?") == "1;0"
    volts = [codes(digitizer, n) * digitizer.numbers(f"VOLT{n}:SCAL?")[0] for n in range(1, 7)]
    # 10 V per 1000 rpm at the peak, four pole pairs: 100 Hz in a tenth of a second.
    for line in volts[:3]:
        assert np.ptp(line) / 2 == pytest.approx(15.0, rel=0.06)
        assert 19 <= np.count_nonzero(np.diff(np.sign(line[np.abs(line) > 1.0]))) <= 21
    assert np.abs(np.sum(volts[:3], axis=0)).max() < 0.2
    for sensor in volts[3:]:
        assert (sensor.max() > 4.0, sensor.min() < 0.5) == (True, True)
    digitizer.send("VOLT2:RANG 10;:INIT")
    assert digitizer.ask("*OPC?;:STAT:QUES:COND?;:STAT:QUES?") == "1;1;1"
    assert (codes(digitizer, 2).max(), codes(digitizer, 2).min()) == (32767, -32768)


def test_changed_range_makes_old_codes_stale(digitizer):
    assert digitizer.ask("INIT;*OPC?;:VOLT3:RANG 20;RANG?;:SYST:ERR?") == '1;2.000000000E+01;0,"No error"'
    assert error_after(digitizer, "TRAC? CH3") == -230


def test_channel_that_is_off_has_no_codes(digitizer):
    assert digitizer.ask("INP2 OFF;:INIT;*OPC?;:INP2?;:INP1?") == "1;0;1"
    assert error_after(digitizer, "TRAC? CH2") == -230
    assert codes(digitizer, 1).size == 5000


@pytest.mark.parametrize(("message", "code"), [
    ("INP7 ON", -114), ("VOLT0:RANG 5", -114), ("TRAC? CH7", -224), ("FORM REAL,32", -224), ("FORM INT,8", -224),
    ("TRIG:SOUR EXT", -224), ("SWE:POIN 1", -222), ("SWE:TINT 4 V", -131), ("VOLT1:RANG 5 MAV", -222),
])
def test_refusals(digitizer, message, code):
    assert error_after(digitizer, message) == code


def test_abort_gives_the_sweep_up(digitizer):
    assert digitizer.ask("SWE:TINT 1;:INIT;:ABOR;*OPC?;:STAT:OPER:COND?") == "1;0"
    assert error_after(digitizer, "TRAC? CH1") == -230
