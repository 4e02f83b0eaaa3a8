"""Hands at the bench, over the side channel."""

import json
import socket

import pytest

from station.errors import BenchError, NoReplyError
from station.simulated.side_channel import SideChannel


@pytest.fixture
def side(served):
    with SideChannel(served.side_port) as channel:
        yield channel


def test_places_and_removes_motors(side):
    assert side.state()["serial"] == "CP40-0001"
    side.remove()
    assert side.state()["serial"] is None
    side.place("CP40-0002")
    assert side.state()["serial"] == "CP40-0002"
    with pytest.raises(BenchError, match="NOBODY"):
        side.place("NOBODY")


def test_guard_start_and_emergency_stop(side, connect):
    side.attend(False)
    guard = connect("guard")
    assert guard.ask("OUTP ON;*OPC?") == "1"
    side.press_start()
    assert side.state()["start_latched"]
    side.open_guard()
    side.close_guard()
    side.emergency_stop(True)
    state = side.state()
    assert [state[name] for name in ("guard_closed", "start_latched", "emergency_stop_healthy")] == [
        True, False, False]


def test_silent_instrument_neither_hears_nor_answers(side, connect):
    supply = connect("supply")
    side.silence("supply", 3600.0)
    supply.socket.settimeout(0.2)
    supply.socket.sendall(b"VOLT 5;*OPC?\n")
    with pytest.raises(TimeoutError):
        supply.socket.recv(10)
    assert connect("guard").ask("*OPC?") == "1"
    side.silence("supply", 0.0)
    assert connect("supply").numbers("VOLT?") == [0.0]


def test_unknown_role_is_named(side):
    with pytest.raises(BenchError, match="thermometer"):
        side.silence("oven", 1.0)


@pytest.mark.parametrize("line", [b"nonsense\n", b"[]\n", b'{"do":"dance"}\n', b'{"do":"place"}\n', b"\xff\xfe\n"])
def test_nonsense_is_answered_and_forgiven(served, line):
    with socket.create_connection(("127.0.0.1", served.side_port), timeout=10.0) as raw, raw.makefile("rb") as lines:
        raw.sendall(line)
        assert not json.loads(lines.readline())["ok"]
        raw.sendall(b'{"do":"state"}\n')
        assert json.loads(lines.readline())["ok"]


def test_nobody_there():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    with pytest.raises(NoReplyError, match="station bench simulate"):
        SideChannel(port)
