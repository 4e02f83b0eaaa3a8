"""Faults of the wire as a plain client meets them, armed through the side channel alone."""

import time

import pytest

from station.simulated.side_channel import SideChannel

ANSWER = b"0;1\n"       # to the question of these tests


@pytest.fixture
def side(served):
    with SideChannel(served.side_port) as channel:
        yield channel


@pytest.fixture
def raw(connect):
    client = connect("supply")

    def ask(size=100, quiet=0.3):
        """Return all that comes until the line is quiet or closed."""
        client.send("OUTP?;*OPC?")
        client.socket.settimeout(quiet)
        heard = b""
        try:
            while len(heard) < size and (part := client.socket.recv(size)):
                heard += part
        except (TimeoutError, ConnectionError):
            pass
        return heard
    return ask


@pytest.mark.parametrize(("kind", "heard"), [
    ("drop_answer", b""), ("half_close", ANSWER[:2]), ("stray_before", b"\xff" + ANSWER), ("late", ANSWER),
    ("stray_after", ANSWER + b"\xff"), ("stray_line", b"\n" + ANSWER), ("return_line", b"0;1\r\n"),
    ("not_a_number", b"9.91E37\n"), ("over_range_text", b"OVERLOAD\n"), ("stars", b"****\n"), ("empty", b"\n"),
    ("half_late", ANSWER), ("trickle", ANSWER), ("hang", b""), ("wedge", b""), ("shut_out", b""), ("refuse", b""),
])
def test_what_comes_instead_of_the_answer(kind, heard, side, raw):
    side.fault("supply", kind, seconds=30.0 if kind in ("hang", "wedge", "shut_out", "refuse") else 0.01)
    assert raw() == heard
    assert side.struck("supply") == [kind]


@pytest.mark.parametrize(("kind", "heard"), [("late", b""), ("half_late", ANSWER[:2]), ("trickle", ANSWER[:1])])
def test_what_is_slow_has_not_come_before_its_time(kind, heard, side, raw):
    side.fault("supply", kind, seconds=30.0)
    assert raw() == heard


def test_each_answer_is_that_of_the_question_before_until_connected_afresh(side, connect):
    client = connect("supply")
    assert client.ask("*OPC?") == "1"
    side.fault("supply", "one_behind")
    assert [client.ask("OUTP?"), client.ask("SYST:VERS?"), client.ask("*OPC?")] == ["1", "0", "1999.0"]
    assert connect("supply").ask("SYST:VERS?") == "1999.0"


def test_dropped_answer_was_obeyed_and_a_lost_message_was_not(side, connect):
    client = connect("supply")
    side.fault("supply", "drop_answer")
    client.send("VOLT 3;*OPC?")
    assert client.numbers("VOLT?") == [3.0]
    side.fault("supply", "hang", seconds=30.0)
    client.send("VOLT 4;*OPC?")
    while side.struck("supply") == ["drop_answer"]:
        time.sleep(0.01)
    side.mend()
    assert connect("supply").numbers("VOLT?") == [3.0]


def test_one_client_at_a_time(side, connect):
    side.fault("supply", "one_client", seconds=30.0)
    connect("supply").send("*OPC?")
    while not side.struck("supply"):
        time.sleep(0.01)
    first = connect("supply")
    while first.ask("*OPC?") != "1":    # the connection closed by the fault may still be counted
        first = connect("supply")
    assert connect("supply").lines.readline() == b""
    side.mend()
    assert connect("supply").ask("*OPC?") == "1"


def test_wedged_line_loses_what_a_client_that_leaves_had_sent(side, connect):
    side.fault("supply", "wedge", seconds=30.0)
    client = connect("supply")
    client.send("VOLT 4")
    while not side.struck("supply"):
        time.sleep(0.01)
    client.close()
    side.mend()
    assert connect("supply").numbers("VOLT?") == [0.0]


def test_refused_until_mended(side, connect, served):
    side.fault("supply", "refuse", seconds=3600.0)
    client = connect("supply")
    client.send("*OPC?")
    while client.lines.readline():
        pass    # the answer may still come, then the end
    with pytest.raises(ConnectionRefusedError):
        connect("supply")
    assert connect("guard").ask("*OPC?") == "1"
    side.mend()
    assert connect("supply").ask("*OPC?") == "1"
