"""Faults of the wire as pyvisa-py's HiSLIP client meets them, armed through the side channel alone."""

import socket
from contextlib import suppress

import pytest
from pyvisa_py.protocols import hislip

from station.simulated.side_channel import SideChannel


@pytest.fixture
def served(served_with):
    with served_with(hislip_ports={"supply": 0}) as bench:
        yield bench


@pytest.fixture
def side(served):
    with SideChannel(served.side_port) as channel:
        yield channel


@pytest.fixture
def connect(served):
    opened = []

    def open_client(timeout=10.0):
        opened.append(hislip.Instrument("127.0.0.1", port=served.hislip_ports["supply"], timeout=timeout))
        return opened[-1]
    yield open_client
    for client in opened:
        client.close()


def ask(client, line):
    client.send(line.encode())
    return bytes(client.receive(1 << 16))


def ask_until_closed(client):
    """Ask until the connection is closed: an answer or two may still come."""
    with suppress(RuntimeError, OSError):
        while ask(client, "*OPC?"):
            pass


@pytest.mark.parametrize(("kind", "heard"), [
    ("stray_before", b"\xff0;1\n"), ("stray_after", b"0;1\n\xff"), ("stray_line", b"\n0;1\n"),
    ("return_line", b"0;1\r\n"), ("not_a_number", b"9.91E37\n"), ("over_range_text", b"OVERLOAD\n"),
    ("stars", b"****\n"), ("empty", b"\n"), ("late", b"0;1\n"), ("half_late", b"0;1\n"), ("trickle", b"0;1\n"),
])
def test_what_comes_instead_of_the_answer(kind, heard, side, connect):
    client = connect()
    side.fault("supply", kind, seconds=0.01)
    assert ask(client, "OUTP?;*OPC?") == heard
    assert side.struck("supply") == [kind]
    assert ask(client, "OUTP?;*OPC?") == b"0;1\n"


@pytest.mark.parametrize("kind", ["drop_answer", "hang", "wedge", "late", "half_late", "trickle"])
def test_what_is_lost_or_slow_has_not_come_in_time(kind, side, connect):
    client = connect(timeout=0.3)
    side.fault("supply", kind, seconds=30.0)
    with pytest.raises(TimeoutError):
        ask(client, "OUTP?;*OPC?")


def test_half_of_an_answer_then_closed(side, connect):
    client = connect()
    side.fault("supply", "half_close")
    with pytest.raises(RuntimeError):       # so pyvisa-py calls it
        ask(client, "OUTP?;*OPC?")
    assert ask(connect(), "OUTP?") == b"0\n"


def test_each_answer_is_that_of_the_question_before(side, connect):
    client = connect()
    assert ask(client, "*OPC?") == b"1\n"
    side.fault("supply", "one_behind")
    assert [ask(client, "OUTP?"), ask(client, "SYST:VERS?")] == [b"1\n", b"0\n"]


@pytest.mark.parametrize("kind", ["shut_out", "refuse", "power_cut"])
def test_both_channels_and_both_ports_are_closed(kind, side, connect, served):
    client = connect(timeout=5.0)
    with socket.create_connection(("127.0.0.1", served.ports["supply"]), timeout=5.0) as plain:
        plain.sendall(b"*OPC?\n")
        assert plain.recv(10) == b"1\n"
        side.fault("supply", kind, seconds=3600.0)
        ask_until_closed(client)
        assert plain.recv(10) == b""
    if kind == "refuse":
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", served.hislip_ports["supply"]))
    side.mend()
    assert ask(connect(), "*OPC?") == b"1\n"


def test_one_client_at_a_time_whatever_its_port(side, connect, served, until):
    client = connect()
    side.fault("supply", "one_client", seconds=3600.0)
    ask_until_closed(client)
    until(lambda: served._faults["supply"]._served == 0)
    served_one = connect()
    with socket.create_connection(("127.0.0.1", served.ports["supply"]), timeout=5.0) as plain:
        assert plain.recv(10) == b""
    side.mend()
    assert ask(served_one, "*OPC?") == b"1\n"
