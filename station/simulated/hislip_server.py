"""One simulated instrument behind HiSLIP 1.0, as far as clients without locks and service requests need it.

Message types and layout follow IVI-6.1, from memory; a lock is always refused, nothing is ever interrupted.
"""

import socket
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from threading import Lock
from typing import ClassVar, Self

from station.simulated.faulty_line import FaultyLine
from station.simulated.line_faults import LineFaults
from station.simulated.listener import Listener
from station.simulated.scpi_error import ScpiError
from station.simulated.served import Served

INPUT_LIMIT = 65536             # bytes of one message
MESSAGE_SIZE = 1 << 20          # bytes of one message that this server accepts
VENDOR = int.from_bytes(b"EB", "big")
VERSION = 0x0100

INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR = 0, 1, 2, 3
LOCK, LOCK_RESPONSE, DATA, DATA_END = 4, 5, 6, 7
CLEAR_COMPLETE, CLEAR_ACKNOWLEDGE, REMOTE_LOCAL, REMOTE_LOCAL_RESPONSE, TRIGGER = 8, 9, 10, 11, 12
MESSAGE_SIZE_ASKED, MESSAGE_SIZE_RESPONSE, ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE = 15, 16, 17, 18
DEVICE_CLEAR, STATUS_ASKED, STATUS_RESPONSE, DEVICE_CLEAR_ACKNOWLEDGE = 19, 21, 22, 23
LOCK_ASKED, LOCK_INFO = 24, 25

POOR_HEADER, NOT_BOTH_CHANNELS, BAD_INITIALIZATION = 1, 2, 3      # codes of FATAL_ERROR
UNKNOWN_TYPE = 1                                                  # code of ERROR


@dataclass(frozen=True, slots=True)
class Message:
    """One message of the protocol."""

    HEAD: ClassVar[struct.Struct] = struct.Struct("!2sBBIQ")

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes = b""

    def packed(self) -> bytes:
        """Return its bytes."""
        return self.HEAD.pack(b"HS", self.kind, self.control, self.parameter, len(self.payload)) + self.payload

    def send(self, connection: socket.socket) -> None:
        """Send it whole."""
        connection.sendall(self.packed())

    @classmethod
    def receive(cls, connection: socket.socket) -> Self:
        """Receive one; OSError when the peer has gone, ValueError when it sends something else."""
        mark, kind, control, parameter, size = cls.HEAD.unpack(_exactly(connection, cls.HEAD.size))
        if mark != b"HS" or size > MESSAGE_SIZE:
            raise ValueError(mark)
        return cls(kind, control, parameter, _exactly(connection, size))


@dataclass(slots=True)
class _Session:
    """What the two channels of one client share."""

    is_complete: bool = False           # both channels are there
    client_size: int = MESSAGE_SIZE     # bytes of one message that the client accepts
    heard: bytearray = field(default_factory=bytearray)

    def framed(self, number: int, answer: bytes) -> bytes:
        """Return `answer` to message `number` as messages that the client accepts."""
        step = max(1, self.client_size - Message.HEAD.size)
        return b"".join(Message(DATA_END if start + step >= len(answer) else DATA, 0, number,
                                answer[start:start + step]).packed() for start in range(0, len(answer), step))


class HislipServer(Listener):
    """Serves `instrument` over HiSLIP, as well as `faults` allow, which its other port may share.

    Port 0 takes a free port. OSError from the constructor: the port is taken.
    """

    def __init__(self, instrument: Served, port: int, faults: LineFaults) -> None:
        super().__init__(port, f"instrument {instrument.model}, HiSLIP", self._converse, at_end=instrument.end)
        self._instrument, self._faults = instrument, faults
        self._sessions: dict[int, _Session] = {}
        self._numbers, self._sessions_lock = count(1), Lock()
        faults.cover(self)

    def _converse(self, connection: socket.socket) -> None:
        try:
            first = Message.receive(connection)
            if first.kind == INITIALIZE:
                with self._faults.admitted() as welcome:
                    if welcome:
                        self._synchronous(connection)
            elif first.kind == ASYNC_INITIALIZE and first.parameter in self._sessions:
                self._asynchronous(connection, self._sessions[first.parameter])
            else:
                Message(FATAL_ERROR, BAD_INITIALIZATION, payload=b"begin with Initialize").send(connection)
        except ValueError:
            Message(FATAL_ERROR, POOR_HEADER, payload=b"no message of HiSLIP").send(connection)

    def _synchronous(self, connection: socket.socket) -> None:
        session = _Session()
        line = FaultyLine(self._instrument.execute, connection, self._faults, self.ended,
                          lambda: self._instrument.report(ScpiError(-410)))
        with self._sessions_lock:
            number = next(self._numbers) & 0xFFFF
            self._sessions[number] = session
        try:
            Message(INITIALIZE_RESPONSE, 0, VERSION << 16 | number).send(connection)
            while True:
                message = Message.receive(connection)
                if not session.is_complete:
                    Message(FATAL_ERROR, NOT_BOTH_CHANNELS, payload=b"the second channel is missing").send(connection)
                    return
                self._take(connection, line, session, message)
        finally:
            with self._sessions_lock:
                del self._sessions[number]

    def _take(self, connection: socket.socket, line: FaultyLine, session: _Session, message: Message) -> None:
        if message.kind in (DATA, DATA_END):
            session.heard += message.payload
            if len(session.heard) > INPUT_LIMIT:
                self._instrument.report(ScpiError(-363))
                session.heard.clear()
            elif message.kind == DATA_END:
                lines = bytes(session.heard).removesuffix(b"\n").split(b"\n")
                session.heard.clear()
                for each in lines:
                    line.pass_on(each, partial(session.framed, message.parameter))
        elif message.kind == TRIGGER:
            line.pass_on(b"*TRG", partial(session.framed, message.parameter))
        elif message.kind == CLEAR_COMPLETE:
            session.heard.clear()
            Message(CLEAR_ACKNOWLEDGE).send(connection)
        else:
            Message(ERROR, UNKNOWN_TYPE, payload=b"unknown on this channel").send(connection)

    def _asynchronous(self, connection: socket.socket, session: _Session) -> None:
        session.is_complete = True
        Message(ASYNC_INITIALIZE_RESPONSE, 0, VENDOR).send(connection)
        plain: Mapping[int, Message] = {
            LOCK: Message(LOCK_RESPONSE, 0), LOCK_ASKED: Message(LOCK_INFO),
            REMOTE_LOCAL: Message(REMOTE_LOCAL_RESPONSE), DEVICE_CLEAR: Message(DEVICE_CLEAR_ACKNOWLEDGE),
        }
        while True:
            message = Message.receive(connection)
            if message.kind == MESSAGE_SIZE_ASKED and len(message.payload) == 8:
                session.client_size = int.from_bytes(message.payload, "big")
                answer = Message(MESSAGE_SIZE_RESPONSE, payload=MESSAGE_SIZE.to_bytes(8, "big"))
            elif message.kind == STATUS_ASKED:
                answer = Message(STATUS_RESPONSE, int(self._instrument.execute(b"*STB?")))
            else:
                answer = plain.get(message.kind, Message(ERROR, UNKNOWN_TYPE, payload=b"unknown on this channel"))
            answer.send(connection)


def _exactly(connection: socket.socket, size: int) -> bytes:
    received = bytearray(size)
    view, filled = memoryview(received), 0
    while filled < size:
        got = connection.recv_into(view[filled:])
        if not got:
            raise ConnectionError("the client left")
        filled += got
    return bytes(received)
