"""The station's HiSLIP session against peers with the faults of real ones; messages from memory of IVI-6.1."""

import inspect
import socket
import struct
import threading
import time
from contextlib import contextmanager
from time import monotonic

import numpy as np
import pytest
import pyvisa
from pyvisa.constants import InterfaceType, StatusCode
from pyvisa_py import tcpip
from pyvisa_py.protocols import hislip
from pyvisa_py.sessions import Session

from station.bench.hislip_session import DeadlineHislipSession, HislipLink, LanInstrumentSession
from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.bench.visa import Wire, _resource_manager
from station.clock import system_clock
from station.errors import BenchError, NoReplyError

HEAD = struct.Struct("!2sBBIQ")
IDENTITY = Identity("PLANT", "TOY", "T-1", "1")
PLAIN = {b"*IDN?": f"{IDENTITY}\n".encode(), b"SYST:ERR?": b'0,"No error"\n'}
DATA, DATA_END = 6, 7


def message(kind, parameter=0, payload=b""):
    return HEAD.pack(b"HS", kind, 0, parameter, len(payload)) + payload


class HislipPeer:
    """Answers from `answers`; a function there is called with the connection and the number of the message."""

    def __init__(self):
        self.answers, self.connections = dict(PLAIN), 0
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self.resource = f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"
        self._open = []
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self):
        self._server.close()
        for connection in self._open:
            connection.close()

    def _accept(self):
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            self._open.append(connection)
            threading.Thread(target=self._converse, args=(connection,), daemon=True).start()

    def _converse(self, connection):
        try:
            with connection, connection.makefile("rb") as stream:
                while len(head := stream.read(HEAD.size)) == HEAD.size:
                    _, kind, _, parameter, size = HEAD.unpack(head)
                    self._take(connection, kind, parameter, stream.read(size))
        except (OSError, ValueError):
            return

    def _take(self, connection, kind, number, payload):
        if kind == 0:
            self.connections += 1
            connection.sendall(message(1, 0x0100 << 16 | 1))
        elif kind == 17:
            connection.sendall(message(18))
        elif kind == 15:
            connection.sendall(message(16, 0, (1 << 20).to_bytes(8, "big")))
        else:
            answer = self.answers.get(payload.strip(), b"")
            if callable(answer):
                answer(connection, number)
            elif answer:
                connection.sendall(message(DATA_END, number, answer))


@pytest.fixture
def peer():
    instrument = HislipPeer()
    yield instrument
    instrument.close()


@contextmanager
def session_with(resource, deadline=0.3):
    session = ScpiSession("digitizer", resource, IDENTITY, system_clock(), deadline)
    try:
        yield session
    finally:
        session.close()


def test_pyvisa_py_is_as_the_session_needs_it(peer):
    """Fails loudly when another version of pyvisa-py has changed what the session builds upon."""
    assert Session._session_classes[InterfaceType.tcpip, "INSTR"] is LanInstrumentSession
    assert issubclass(DeadlineHislipSession, tcpip.TCPIPInstrHiSLIP)
    assert list(inspect.signature(tcpip.TCPIPInstrSession.__new__).parameters)[1:] == [
        "resource_manager_session", "resource_name", "parsed", "open_timeout"]
    theirs = hislip.Instrument("127.0.0.1", port=peer.port)
    ours = HislipLink("127.0.0.1", peer.port, "hislip0", 5.0)
    assert vars(ours).keys() == vars(theirs).keys()
    theirs.close()
    ours.close()
    for name in ("initialize", "async_initialize", "async_maximum_message_size", "_next_data_header", "send"):
        assert callable(getattr(hislip.Instrument, name))
    assert "receive_exact_into(self._sync" in inspect.getsource(hislip.Instrument.receive)
    assert "sock.recv_into(" in inspect.getsource(hislip.receive_exact_into)
    assert "sock.sendall(" in inspect.getsource(hislip.send_msg)


def test_lines_and_blocks_come_back(peer):
    codes = np.arange(-20_000, 20_000, dtype=np.int16)
    body = codes.tobytes()
    whole = b"#5" + str(len(body)).encode() + body + b"\n"

    def in_parts(connection, number):
        for start in range(0, len(whole), 7001):
            kind = DATA if start + 7001 < len(whole) else DATA_END
            connection.sendall(message(kind, number, whole[start:start + 7001]))
    peer.answers[b"TRAC?"] = in_parts
    with session_with(peer.resource, 5.0) as session:
        assert session.identify() == IDENTITY
        assert np.array_equal(session.ask_codes("TRAC?", codes.size), codes)
        assert session.ask("*IDN?") == str(IDENTITY)
        assert peer.connections == 1


def test_answers_through_pyvisa_itself(peer):
    resource = _resource_manager().open_resource(peer.resource)
    assert resource.query("*IDN?").strip() == str(IDENTITY)
    resource.timeout = 100
    with pytest.raises(pyvisa.VisaIOError) as raised:
        resource.query("NOTHING?")
    assert raised.value.error_code == StatusCode.error_timeout
    resource.close()


def test_late_answer_is_never_taken_for_the_next_one(peer):
    def late(connection, number):
        time.sleep(0.5)
        connection.sendall(message(DATA_END, number, b"111\n"))
    peer.answers |= {b"SLOW?": late, b"NEXT?": b"222\n"}
    with session_with(peer.resource) as session:
        with pytest.raises(NoReplyError):
            session.ask("SLOW?")
        time.sleep(0.4)
        assert session.ask("NEXT?") == "222"
        assert peer.connections == 2


@pytest.mark.parametrize("rest", ["never", "late"])
def test_half_a_block_makes_the_session_connect_afresh(rest, peer):
    def half(connection, number):
        connection.sendall(message(DATA_END, number, b"#41000" + bytes(1000) + b"\n")[:-500])
        if rest == "late":
            time.sleep(0.6)
            connection.sendall(bytes(500))
    peer.answers |= {b"TRAC?": half, b"NEXT?": b"222\n"}
    with session_with(peer.resource) as session:
        with pytest.raises(NoReplyError):
            session.ask_codes("TRAC?", 500)
        time.sleep(0.5)
        assert session.ask("NEXT?") == "222"
        assert peer.connections == 2


def test_message_that_ends_within_the_block_gives_no_codes(peer):
    peer.answers[b"TRAC?"] = b"#41000" + bytes(600)
    with session_with(peer.resource) as session, pytest.raises(NoReplyError, match="early"):
        session.ask_codes("TRAC?", 500)


@pytest.mark.parametrize("garbage", [b"no message of this protocol at all", message(99), message(DATA, 0, b"")[:7]])
def test_garbage_gives_no_answer(garbage, peer):
    peer.answers |= {b"BAD?": lambda connection, _: connection.sendall(garbage), b"NEXT?": b"222\n"}
    with session_with(peer.resource) as session:
        with pytest.raises(BenchError):
            session.ask("BAD?")
        assert session.ask("NEXT?") == "222"


def test_trickling_peer_misses_the_deadline(peer):
    def trickle(connection, number):
        connection.sendall(message(DATA_END, number, bytes(100_000))[:HEAD.size])
        while True:
            connection.sendall(b"1")
            time.sleep(0.01)
    peer.answers[b"TRICKLE?"] = trickle
    with session_with(peer.resource) as session, pytest.raises(NoReplyError, match="no reply"):
        session.ask("TRICKLE?")


def test_closed_peer_is_told_and_the_next_question_reconnects(peer):
    peer.answers |= {b"BYE?": lambda connection, _: connection.shutdown(socket.SHUT_RDWR), b"NEXT?": b"222\n"}
    with session_with(peer.resource, 30.0) as session:
        with pytest.raises(NoReplyError, match="connection broke"):
            session.ask("BYE?")
        assert session.ask("NEXT?") == "222"


def test_unasked_message_is_seen(peer):
    peer.answers[b"TWICE?"] = lambda connection, number: connection.sendall(message(DATA_END, number, b"1\n") * 2)
    wire = Wire(peer.resource, monotonic, monotonic() + 5)
    wire.send(b"TWICE?\n", monotonic() + 5)
    assert wire.receive_line(monotonic() + 5) == b"1"
    end = monotonic() + 5
    while not wire.has_unread():
        assert monotonic() < end
    wire.close()


def test_peer_that_accepts_and_says_nothing_is_given_up_in_time():
    with socket.create_server(("127.0.0.1", 0)) as server:
        resource = f"TCPIP::127.0.0.1::hislip0,{server.getsockname()[1]}::INSTR"
        with session_with(resource) as session, pytest.raises(NoReplyError, match="connecting"):
            session.identify()
