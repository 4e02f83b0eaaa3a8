"""Faults of Modbus frames as a plain socket meets them, armed through the side channel alone."""

import socket

import pytest

from station.simulated.side_channel import SideChannel

REQUEST = bytes.fromhex("12 34 00 00 00 06 01 03 01 02 00 01")      # fault code, one holding register
ANSWER = bytes.fromhex("12 34 00 00 00 05 01 03 02 00 00")


@pytest.fixture
def served(served_with):
    with served_with(drive="modbus") as bench:
        yield bench


@pytest.fixture
def side(served):
    with SideChannel(served.side_port) as channel:
        yield channel


@pytest.fixture
def link(served):
    with socket.create_connection(("127.0.0.1", served.ports["drive"]), timeout=5.0) as opened:
        yield opened


def hear(link, quiet=0.3):
    """Return all that comes until the line is quiet or closed."""
    link.settimeout(quiet)
    heard = b""
    try:
        while part := link.recv(100):
            heard += part
    except (TimeoutError, ConnectionError):
        pass
    return heard


@pytest.mark.parametrize(("kind", "heard"), [
    ("half_close", ANSWER[:5]), ("drop_answer", b""), ("stray_before", b"\xff" + ANSWER),
    ("stray_after", ANSWER + b"\xff"), ("late", ANSWER), ("half_late", ANSWER), ("trickle", ANSWER),
    ("exception_code", bytes.fromhex("12 34 00 00 00 03 01 83 04")),
    ("other_transaction", bytes.fromhex("ED 34") + ANSWER[2:]), ("hang", b""), ("wedge", b""), ("shut_out", b""),
    ("refuse", b""), ("power_cut", b""),
])
def test_what_comes_instead_of_the_answer(kind, heard, side, link):
    side.fault("drive", kind, seconds=30.0 if kind in ("hang", "wedge", "shut_out", "refuse") else 0.01)
    link.sendall(REQUEST)
    assert hear(link) == heard
    assert side.struck("drive") == [kind]


@pytest.mark.parametrize(("kind", "heard"), [("late", b""), ("half_late", ANSWER[:5]), ("trickle", ANSWER[:1])])
def test_what_is_slow_has_not_come_before_its_time(kind, heard, side, link):
    side.fault("drive", kind, seconds=30.0)
    link.sendall(REQUEST)
    assert hear(link) == heard


def test_each_answer_is_that_of_the_request_before(side, link):
    link.sendall(REQUEST)
    assert hear(link) == ANSWER
    side.fault("drive", "one_behind")
    link.sendall(b"\x12\x35" + REQUEST[2:])
    assert hear(link) == ANSWER


def test_refused_until_mended(side, link, served):
    side.fault("drive", "refuse", seconds=3600.0)
    link.sendall(REQUEST)
    hear(link)
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", served.ports["drive"]))
    side.mend()
    with socket.create_connection(("127.0.0.1", served.ports["drive"])) as again:
        again.sendall(REQUEST)
        assert hear(again) == ANSWER


def test_restart_loses_settings_and_takes_the_torque_away(side, link, served):
    rig = served.rig
    rig.arm(on=True)
    rig.press_start()
    for address, word in ((0x0130, 500), (0x0103, 3), (0x0100, 6), (0x0100, 7), (0x0100, 15)):
        write = b"\0\1\0\0\0\6\1\6" + address.to_bytes(2, "big") + word.to_bytes(2, "big")
        link.sendall(write)
        assert link.recv(100) == write
    assert rig.shaft.enabled
    side.fault("drive", "restart")
    link.sendall(b"\0\1\0\0\0\6\1\3\1\x30\0\1")
    assert hear(link)[-2:] == b"\0\0"       # the watchdog's time
    assert not rig.shaft.enabled


def test_other_serial_until_mended(side, link, served):
    ask = b"\0\1\0\0\0\6\1\3\2\0\0\x08"
    side.fault("drive", "other_serial", seconds=3600.0)
    link.sendall(REQUEST)
    assert hear(link) in (b"", ANSWER)      # closed, as another drive would be
    with socket.create_connection(("127.0.0.1", served.ports["drive"])) as again:
        again.sendall(ask)
        assert b"EB-XXX-999" in hear(again)
        side.mend()
        again.sendall(ask)
        assert b"EB-DRV-402" in hear(again)


@pytest.mark.parametrize(("kind", "obeys"), [("no_ramp", True), ("runs_on", False)])
def test_drive_that_does_not_obey_still_obeys_the_guard(kind, obeys, side, link, served):
    rig = served.rig
    rig.arm(on=True)
    rig.press_start()

    def control(word):
        write = b"\0\1\0\0\0\6\1\6\1\0" + word.to_bytes(2, "big")
        link.sendall(write)
        assert link.recv(100) == write
    link.sendall(b"\0\1\0\0\0\6\1\6\1\3\0\3")
    link.recv(100)
    for word in (6, 7, 15):
        control(word)
    side.fault("drive", kind, seconds=3600.0)
    control(2)              # quick stop
    assert rig.shaft.enabled
    control(0)              # voltage off
    assert rig.shaft.enabled != obeys
    side.open_guard()
    assert not rig.shaft.enabled


def test_a_lost_request_does_not_feed_the_watchdog(side, link, served, until):
    rig = served.rig
    rig.arm(on=True)
    rig.press_start()
    for address, word in ((0x0103, 3), (0x0130, 20), (0x0100, 6), (0x0100, 7), (0x0100, 15)):
        link.sendall(b"\0\1\0\0\0\6\1\6" + address.to_bytes(2, "big") + word.to_bytes(2, "big"))
        link.recv(100)
    side.silence("drive", 3600.0)

    def is_off():
        link.sendall(REQUEST)
        return not rig.shaft.enabled
    until(is_off)


@pytest.mark.parametrize("nonsense", [b"GET / HTTP/1.1\r\n\r\n", b"\0\1\0\0\xff\xff\1\3", b"\0\1\0\0\0\0\1\3"])
def test_what_is_no_frame_ends_its_own_connection_only(nonsense, link, served):
    with socket.create_connection(("127.0.0.1", served.ports["drive"]), timeout=5.0) as other:
        other.sendall(nonsense)
        assert hear(other) == b""
    link.sendall(REQUEST)
    assert hear(link) == ANSWER
