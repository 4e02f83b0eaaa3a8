"""Every kind of resource through one seam: serial at a pseudo-terminal, VXI-11 without portmapper, USB when absent."""

import gc
import os
import socket
import struct
import threading
import tty
from contextlib import contextmanager
from time import monotonic

import numpy as np
import pytest

from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.bench.visa import Wire
from station.clock import system_clock
from station.errors import NoReplyError

IDENTITY = Identity("PLANT", "SERIAL", "S-1", "1")
CODES = np.arange(-2000, 2000, dtype=np.int16)      # line feeds among its bytes

CREATE_LINK, DEVICE_WRITE, DEVICE_READ, DEVICE_CLEAR, DESTROY_LINK = 10, 11, 12, 15, 23
END = 4             # why a read ended: end of message
TIMED_OUT = 15              # error: no answer in time
LAST = 0x8000_0000          # this fragment ends the record


def soon(seconds=0.3):
    return monotonic() + seconds


def block():
    body = CODES.tobytes()
    return b"#4" + str(len(body)).encode() + body + b"\n"


class SerialInstrument:
    """An instrument at the far end of a pseudo-terminal; `reactions` replaces the answer to a line."""

    def __init__(self):
        self.far, near = os.openpty()
        tty.setraw(near)
        self._near, self.path = near, os.ttyname(near)
        self.answers = {b"*IDN?": f"{IDENTITY}\r\n".encode(), b"SYST:ERR?": b'0,"No error"\r\n', b"TRAC?": block(),
                        b"MEAS?": b"1.25\r\n"}
        self.reactions = {}
        threading.Thread(target=self._serve, daemon=True).start()

    @property
    def resource(self):
        return f"ASRL{self.path}::INSTR"

    def close(self):
        os.close(self._near)
        os.close(self.far)

    def _serve(self):
        heard = b""
        while True:
            try:
                heard += os.read(self.far, 4096)
            except OSError:
                return
            *lines, heard = heard.split(b"\n")
            for line in lines:
                self.reactions.get(line, self._answer)(line)

    def _answer(self, line):
        os.write(self.far, self.answers.get(line, b""))


class Vxi11Server:
    """A minimal VXI-11 instrument on a port of its own, without portmapper; ONC RPC and VXI-11 from memory."""

    def __init__(self, answers):
        self.answers, self._waiting = answers, b""
        self._server = socket.create_server(("127.0.0.1", 0))
        self.resource = f"TCPIP::127.0.0.1,{self._server.getsockname()[1]}::inst0::INSTR"

    def __enter__(self):
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, *_):
        self._server.close()

    def _accept(self):
        while True:
            try:
                connection, _ = self._server.accept()
            except OSError:
                return
            threading.Thread(target=self._converse, args=(connection,), daemon=True).start()

    def _converse(self, connection):
        with connection, connection.makefile("rb") as stream:
            while len(mark := stream.read(4)) == 4:
                call = stream.read(int.from_bytes(mark, "big") & ~LAST)
                xid, _, _, _, _, procedure = struct.unpack(">6I", call[:24])
                credential = struct.unpack(">2I", call[24:32])[1]
                verifier = struct.unpack(">2I", call[32 + credential:40 + credential])[1]
                answer = self._obey(procedure, call[40 + credential + verifier:])
                reply = struct.pack(">6I", xid, 1, 0, 0, 0, 0) + answer
                connection.sendall((LAST | len(reply)).to_bytes(4, "big") + reply)

    def _obey(self, procedure, arguments):
        if procedure == CREATE_LINK:
            return struct.pack(">4I", 0, 1, 0, 1 << 16)
        if procedure == DEVICE_WRITE:
            size = struct.unpack(">5I", arguments[:20])[4]
            self._waiting = self.answers.get(arguments[20:20 + size].strip(), b"")
            return struct.pack(">2I", 0, size)
        if procedure == DEVICE_READ:
            return self._read(struct.unpack(">2I", arguments[:8])[1])
        if procedure == DEVICE_CLEAR:
            self._waiting = b""
        return struct.pack(">I", 0)

    def _read(self, most):
        if not self._waiting:
            return struct.pack(">3I", TIMED_OUT, 0, 0)
        most = min(most, 1 << 16)       # an instrument sends less at once than it may
        part, self._waiting = self._waiting[:most], self._waiting[most:]
        reason = 0 if self._waiting else END
        return struct.pack(">3I", 0, reason, len(part)) + part + bytes(-len(part) % 4)


@pytest.fixture
def serial():
    instrument = SerialInstrument()
    yield instrument
    instrument.close()


@pytest.fixture
def vxi11():
    answers = {b"*IDN?": f"{IDENTITY}\n".encode(), b"SYST:ERR?": b'0,"No error"\n', b"TRAC?": block(),
               b"MEAS?": b"1.25\n"}
    with Vxi11Server(answers) as instrument:
        yield instrument


@contextmanager
def session_with(resource, deadline=0.3):
    session = ScpiSession("ohmmeter", resource, IDENTITY, system_clock(), deadline, baud=115_200)
    try:
        yield session
    finally:
        session.close()


def test_serial_instrument_answers_lines_and_blocks(serial):
    with session_with(serial.resource, 5.0) as session:
        assert session.identify() == IDENTITY
        assert session.ask_number("MEAS?") == 1.25
        assert np.array_equal(session.ask_codes("TRAC?", CODES.size), CODES)
        assert session.ask_number("MEAS?") == 1.25


def test_silent_serial_instrument_misses_the_deadline(serial):
    with session_with(serial.resource) as session, pytest.raises(NoReplyError, match="no reply"):
        session.ask("NOTHING?")


def test_trickling_serial_instrument_misses_the_deadline(serial):
    ended = threading.Event()

    def trickle(_):
        while not ended.wait(0.02):
            os.write(serial.far, b"1")
    serial.reactions[b"TRICKLE?"] = trickle
    wire = Wire(serial.resource, monotonic, soon())
    wire.send(b"TRICKLE?\n", soon())
    with pytest.raises(TimeoutError):
        wire.receive_line(soon())
    ended.set()
    wire.close()


def test_unasked_bytes_on_a_serial_line_are_seen(serial):
    wire = Wire(serial.resource, monotonic, soon())
    assert not wire.has_unread()
    os.write(serial.far, b"unasked\n")
    end = soon(5.0)
    while not wire.has_unread():
        assert monotonic() < end
    assert wire.receive_line(soon()) == b"unasked"
    wire.close()


def test_serial_port_that_is_not_there_is_told():
    with session_with("ASRL/dev/ttyNOSUCH::INSTR") as session, pytest.raises(NoReplyError, match="ttyNOSUCH"):
        session.identify()


def test_vxi11_instrument_answers_lines_and_blocks(vxi11):
    with session_with(vxi11.resource, 5.0) as session:
        assert session.identify() == IDENTITY
        assert np.array_equal(session.ask_codes("TRAC?", CODES.size), CODES)
        assert session.ask_number("MEAS?") == 1.25
        with pytest.raises(NoReplyError, match="no reply"):
            session.ask("NOTHING?")
        assert session.ask_number("MEAS?") == 1.25


@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")     # pyvisa-py leaves one when VXI-11 is refused
@pytest.mark.parametrize("resource", [
    "TCPIP::127.0.0.1,1::inst0::INSTR",                 # VXI-11
    "TCPIP::127.0.0.1::hislip0,1::INSTR",
    "TCPIP::127.0.0.1::1::SOCKET",
    "USB0::0xFFFF::0xFFFF::NOSUCH::INSTR",              # without USB library or instrument alike
])
def test_absent_instrument_of_any_kind_is_told(resource):
    with session_with(resource, 1.0) as session, pytest.raises(NoReplyError):
        session.identify()
    gc.collect()
