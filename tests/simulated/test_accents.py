"""station.simulated.accents: what an accented instrument on its socket understands, and what it does not."""

from contextlib import ExitStack

import numpy as np
import pytest

from station.errors import UsageError
from station.simulated.bench import SimulatedBench


@pytest.fixture
def accented(served):
    """Return a function that serves a role in a tongue, on the rig of `served`, and opens a socket to it."""
    import socket

    with ExitStack() as stack:
        def open_role(tongue, role):
            bench = stack.enter_context(SimulatedBench(served.rig, {}, seed=5, tongues={role: tongue}))
            client = stack.enter_context(socket.create_connection(("127.0.0.1", bench.ports[role]), timeout=10.0))
            return client, stack.enter_context(client.makefile("rb"))

        yield open_role


def ask(opened, message):
    client, lines = opened
    client.sendall(message)
    return lines.readline()


def test_identity_tells_the_tongue(accented):
    assert ask(accented("terse", "guard"), b"*IDN?\r\n") == b"EMBEDDED BENCH,GUARD TERSE,EB-GRD-001,1\r\n"
    assert ask(accented("headed", "guard"), b"*IDN?\n") == b"EMBEDDED BENCH,GUARD HEADED,EB-GRD-001,1\n"


def test_its_own_words_only(accented):
    opened = accented("headed", "thermometer")
    assert float(ask(opened, b"CELSIUS1?\n").removeprefix(b":CELSIUS1 ")) == pytest.approx(23.0, abs=5.0)
    opened[0].sendall(b"MEAS:TEMP? (@1)\nCELSIUS3?\n")      # the native words are no words here
    assert ask(opened, b"ERRORS:NEXT?\n").startswith(b":ERRORS:NEXT -113,")
    assert ask(opened, b"ERRORS:NEXT?\n").startswith(b":ERRORS:NEXT -113,")
    assert ask(opened, b"ERRORS:NEXT?\n") == b':ERRORS:NEXT 0,"No error"\n'


def test_terse_wants_its_carriage_return(accented):
    opened = accented("terse", "thermometer")
    opened[0].sendall(b"PROBE1?\n")
    assert ask(opened, b"FAULT?\r\n").startswith(b"-102,")


def test_over_range_in_other_words(served, accented):
    served.rig.remove()
    assert ask(accented("terse", "ohmmeter"), b"READ?\r\n") == b"OL\r\n"
    assert ask(accented("headed", "ohmmeter"), b"OHMS?\n") == b":OHMS 9999\n"


def test_bytes_stand_for_the_same_volts_as_the_native_codes(accented):
    opened = accented("terse", "digitizer")
    opened[0].sendall(b"".join(line + b"\r\n" for line in (b"A:ON", b"A:SPAN 20", b"RECORD 400", b"GO")))
    assert ask(opened, b"*OPC?\r\n") == b"1\r\n"
    fields = ask(opened, b"DESCRIBE? A\r\n").decode().split(",")
    assert len(fields) == 10
    scale, offset, reference = (float(fields[index]) for index in (5, 6, 7))
    opened[0].sendall(b"DUMP? A\r\n")
    assert opened[1].read(5) == b"#3400"
    codes = np.frombuffer(opened[1].read(400), dtype=np.uint8)
    assert opened[1].read(2) == b"\r\n"
    volts = (codes - reference) * scale + offset
    assert scale == pytest.approx(20 / 256)
    assert np.abs(volts).max() <= 2 * scale     # nothing turns: noise only, within two coarse steps of zero


@pytest.mark.parametrize("window", [b"0,10", b"11,10", b"1,1001"])
def test_windows_that_cannot_be_are_refused(accented, window):
    opened = accented("headed", "digitizer")
    opened[0].sendall(b"MEMORY:WINDOW " + window + b"\n")
    assert ask(opened, b"ERRORS:NEXT?\n").startswith(b":ERRORS:NEXT -222,")


def test_windows_join_to_the_whole_record(accented):
    opened = accented("headed", "digitizer")
    opened[0].sendall(b"INPUT1:USE\nMEMORY:LENGTH 1500\nSTART\n")
    assert ask(opened, b"*OPC?\n") == b"1\n"
    parts = []
    for window in (b"1,1000", b"1001,1500", b"501,1500"):
        opened[0].sendall(b"MEMORY:WINDOW " + window + b"\nMEMORY:INPUT1?\n")
        head = opened[1].read(len(b":MEMORY:INPUT1 #9000000000"))
        assert head.startswith(b":MEMORY:INPUT1 #9")
        parts.append(np.frombuffer(opened[1].read(int(head[-9:])), dtype=">i2"))
        assert opened[1].read(1) == b"\n"
    assert [part.size for part in parts] == [1000, 500, 1000]
    np.testing.assert_array_equal(np.concatenate(parts[:2])[500:], parts[2])


def test_unknown_tongue_is_told(served):
    with pytest.raises(UsageError, match="terse, headed"):
        SimulatedBench(served.rig, {}, tongues={"guard": "flowery"})
