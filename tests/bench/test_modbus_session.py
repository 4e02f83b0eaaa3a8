"""station.bench.modbus_session against a peer that misbehaves on a real socket."""

import json
import socket
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise
from threading import Event, Thread

import pytest

from station.bench.dialect import SHIPPED
from station.bench.drive_limits import DriveLimits
from station.bench.identity import Identity
from station.bench.modbus_drive import ModbusDrive
from station.bench.modbus_session import ModbusSession, parse_resource
from station.bench.register_map import parse_register_map
from station.bench.transcript import Transcript
from station.clock import system_clock
from station.errors import BenchError, BenchNotFitError, InstrumentError, NoReplyError
from station.toml_file import parse_toml

NUMBERS = {"maker": 11, "model": 12, "serial": 13, "firmware": 14}
IDENTITY = Identity("11", "12", "13", "14")
SPEED = 0x0112


def registers():
    """The shipped map with an identity in plain numbers, at the addresses that are the numbers."""
    head = (SHIPPED / "embedded_modbus_drive.toml").read_text(encoding="utf-8").split("[identity]")[0]
    parts = "".join(f'{name} = {{ register = {number}, type = "uint16" }}\n' for name, number in NUMBERS.items())
    return parse_register_map(parse_toml((head + "[identity]\n" + parts).encode(), "map.toml"))


class Peer:
    """Answers reads with each register's own address, until `prank` says otherwise.

    `prank(transaction, unit, body)` returns the bytes to send; None sends nothing; "close" hangs up.
    """

    def __init__(self):
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._open = []
        self.port = self._listener.getsockname()[1]
        self.prank, self.connections, self.requests = None, 0, []
        self.serves_one_only = False
        self._thread = Thread(target=self._accept)
        self._thread.start()

    @property
    def resource(self):
        return f"MODBUS::127.0.0.1::{self.port}::7"

    def end(self):
        self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._listener.close()
        for link, thread in self._open:
            if link.fileno() >= 0:
                link.shutdown(socket.SHUT_RDWR)
            thread.join()

    def _accept(self):
        while True:
            try:
                link = self._listener.accept()[0]
            except OSError:
                return
            self.connections += 1
            thread = Thread(target=self._serve, args=(link,))
            self._open.append((link, thread))
            thread.start()

    def _serve(self, link):
        with link:
            try:
                while head := link.recv(7, socket.MSG_WAITALL):
                    self._answer(link, head)
            except OSError:
                return

    def _answer(self, link, head):
        transaction, length, unit = head[:2], int.from_bytes(head[4:6], "big"), head[6]
        body = link.recv(length - 1, socket.MSG_WAITALL)
        if self.serves_one_only and link is not next(one for one, _ in self._open if not has_left(one)):
            return
        self.requests.append((unit, body))
        answer = self.prank(transaction, unit, body) if self.prank else plain(transaction, unit, body)
        if answer == "close":
            link.shutdown(socket.SHUT_RDWR)
        elif answer:
            link.sendall(answer)


def has_left(link):
    """Whether the client of a connection has hung up, also if nobody has noticed yet."""
    try:
        return link.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


def frame(transaction, unit, content):
    return transaction + b"\0\0" + (len(content) + 1).to_bytes(2, "big") + bytes([unit]) + content


def plain(transaction, unit, body):
    if body[0] != 3:
        return frame(transaction, unit, body[:5])     # a write is echoed
    address, count = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
    words = b"".join((address + k).to_bytes(2, "big") for k in range(count))
    return frame(transaction, unit, bytes([3, len(words)]) + words)


@pytest.fixture
def peer():
    made = Peer()
    yield made
    made.end()


@pytest.fixture
def session(peer):
    opened = ModbusSession("drive", peer.resource, registers(), IDENTITY, system_clock(), 0.4)
    yield opened
    opened.close()


def read_speed(session):
    return session.exchange("its speed", lambda drive: drive.read(session.registers.actual_speed))


RAW = SPEED << 16 | SPEED + 1


def test_identifies_before_anything_else(peer, session):
    assert read_speed(session) == RAW
    assert [int.from_bytes(body[1:3], "big") for _, body in peer.requests] == [11, 12, 13, 14, SPEED]
    assert {unit for unit, _ in peer.requests} == {7}
    assert session.was_identified


def test_another_drive_is_refused_and_gets_no_write(peer, session):
    session.expected = Identity("11", "12", "99", "14")
    with pytest.raises(BenchNotFitError, match="another instrument"):
        session.exchange("target", lambda drive: drive.write(session.registers.target_speed, 5))
    assert all(body[0] == 3 for _, body in peer.requests)
    assert not session.was_identified


@pytest.mark.parametrize("prank", [
    pytest.param(lambda transaction, unit, body: None, id="silence"),
    pytest.param(lambda transaction, unit, body: plain(transaction, unit, body)[:-1], id="one byte short"),
    pytest.param(lambda transaction, unit, body: plain(b"\xff\xfe", unit, body), id="another transaction"),
    pytest.param(lambda transaction, unit, body: plain(transaction, unit + 1, body), id="another unit"),
    pytest.param(lambda transaction, unit, body: plain(transaction, unit, body)[:5] + b"\xff" * 9, id="nonsense"),
    pytest.param(lambda transaction, unit, body: "close", id="hangs up"),
    pytest.param(lambda transaction, unit, body: plain(transaction, unit, body[:3] + b"\0\1"), id="too few registers"),
])
def test_doubt_reopens_and_identifies_again(peer, session, prank):
    read_speed(session)
    peer.prank = prank
    with pytest.raises(NoReplyError):
        read_speed(session)
    peer.prank, peer.requests = None, []
    assert read_speed(session) == RAW
    assert peer.connections == 2
    assert [int.from_bytes(body[1:3], "big") for _, body in peer.requests] == [11, 12, 13, 14, SPEED]


def test_bytes_that_nobody_asked_for_reopen(peer, session):
    read_speed(session)
    peer.prank = lambda transaction, unit, body: plain(transaction, unit, body) + b"\0\1\0\0\0\5\7\3\2\0\0"
    read_speed(session)
    peer.prank = None
    system_clock().pause(0.05)
    assert read_speed(session) == RAW
    assert peer.connections == 2


def test_an_exception_answer_is_the_drives_own_error(peer, session):
    read_speed(session)
    peer.prank = lambda transaction, unit, body: frame(transaction, unit, bytes([body[0] | 0x80, 2]))
    with pytest.raises(InstrumentError, match="illegal address"):
        read_speed(session)
    peer.prank = None
    assert read_speed(session) == RAW
    assert peer.connections == 1


def test_number_that_does_not_fit_is_refused_unsent(peer, session):
    read_speed(session)
    peer.requests = []
    with pytest.raises(InstrumentError, match="outside"):
        session.exchange("too much", lambda drive: drive.write(session.registers.torque, 1 << 15))
    assert peer.requests == []


def test_one_deadline_for_the_whole_exchange(peer, session):
    read_speed(session)

    def late(transaction, unit, body):
        system_clock().pause(0.15)
        return plain(transaction, unit, body)
    peer.prank = late
    session.exchange("two", lambda drive: [drive.read(session.registers.status) for _ in range(2)])
    with pytest.raises(NoReplyError, match=r"within 0\.4 s"):
        session.exchange("four", lambda drive: [drive.read(session.registers.status) for _ in range(4)])


def test_the_second_session_does_not_wait_for_the_first(peer, session):
    read_speed(session)
    aside = session.aside()
    assert session.aside() is aside

    def inside(drive):      # while the first session is in the middle of an exchange
        return read_speed(aside), drive.read(session.registers.status)
    assert session.exchange("a long one", inside) == (RAW, 0x0101)
    assert peer.connections == 2


def test_giving_up_breaks_off_what_is_pending(peer, session):
    read_speed(session)
    asked = Event()

    def silent(transaction, unit, body):
        asked.set()
    peer.prank = silent
    with ThreadPoolExecutor(1) as pool:
        pending = pool.submit(session.exchange, "a long wait",
                              lambda drive: drive.read(session.registers.status), 30.0)
        assert asked.wait(10.0)
        session.give_up()
        with pytest.raises(NoReplyError, match="connection broke"):
            pending.result(10.0)
    peer.prank = None
    assert read_speed(session) == RAW


@pytest.mark.parametrize("known", [True, False])
def test_drive_that_serves_one_client_is_stopped_over_the_usual_connection(peer, session, known):
    peer.serves_one_only = True
    session.deadline = 1.5      # s; it must also be enough to open anew on a busy machine
    session.registers = replace(session.registers, clients=1 if known else 2)
    read_speed(session)
    asked = Event()

    def stuck(transaction, unit, body):     # does not answer the first question for its status, stands still, obeys
        if body[:3] == b"\3\1\1":
            if asked.is_set():
                return frame(transaction, unit, b"\3\2\2\x50")     # switch on disabled
            asked.set()
            return None
        if body[:3] == b"\3\1\x12":
            return frame(transaction, unit, b"\3\4\0\0\0\0")
        return plain(transaction, unit, body)
    peer.prank = stuck
    drive = ModbusDrive(session, session.aside(), session.registers, None, DriveLimits(100.0, 1.0), system_clock())
    with ThreadPoolExecutor(1) as pool:
        pending = pool.submit(session.exchange, "a long wait",
                              lambda inside: inside.read(session.registers.status), 30.0)
        assert asked.wait(10.0)
        drive.safe()
        with pytest.raises(NoReplyError):
            pending.result(10.0)
    words = [body[3:] for _, body in peer.requests if body[:3] == b"\6\1\0"]
    assert words == [b"\0\2", b"\0\0"]
    assert peer.connections == (2 if known else 3)


def test_exchanges_are_taken_down(peer):
    transcript = Transcript(system_clock())
    session = ModbusSession("drive", peer.resource, registers(), IDENTITY, system_clock(), 0.4, transcript)
    session.exchange("a write", lambda drive: drive.write(session.registers.control, 6))
    session.close()
    told = [json.loads(line) for line in transcript.as_json_lines().splitlines()]
    assert [entry["text"] for entry in told[-3:]] == ["writing 6 to register 256", "written", "connection closed"]
    assert told[0]["text"].startswith("connected to MODBUS")
    assert ("reading register 13", "13") in [(a["text"], b["text"]) for a, b in pairwise(told)]


def test_nobody_there(session, peer):
    with socket.create_server(("127.0.0.1", 0)) as server:
        nobody = server.getsockname()[1]
    absent = ModbusSession("drive", f"MODBUS::127.0.0.1::{nobody}", registers(), IDENTITY, system_clock(), 0.4)
    with pytest.raises(NoReplyError, match="refused"):
        absent.identify()
    absent.close()


def test_watchdog_that_the_drive_does_not_keep_is_an_error(session):
    drive = ModbusDrive(session, session, session.registers, None, DriveLimits(100.0, 1.0), system_clock())
    with pytest.raises(BenchError, match="does not keep its watchdog"):     # this peer reads back the address
        drive.set_watchdog(1.0)


@pytest.mark.parametrize(("resource", "parts"), [
    ("MODBUS::drive.local::502", ("drive.local", 502, 1)), ("MODBUS::10.0.0.9::1502::17", ("10.0.0.9", 1502, 17)),
])
def test_resources(resource, parts):
    assert parse_resource(resource) == parts


def test_a_resource_of_another_kind():
    with pytest.raises(BenchError, match="no Modbus resource"):
        parse_resource("TCPIP::10.0.0.9::5025::SOCKET")
