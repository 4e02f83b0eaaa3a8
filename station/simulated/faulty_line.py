"""The line between a simulated instrument and one client, and how it may fail."""

import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Event

from station.simulated.fault_plan import Fault
from station.simulated.line_faults import LineFaults

TICK = 0.01         # s, wall, between looks whether a client that waits for a wedged line has left
STRAY = b"\xff"
DEVICE_FAILURE = 4  # exception code. Source: Modbus application protocol
# What a fault makes of an answer before it is sent; the head of a frame counts unit, function and what follows.
_ALTERED: dict[str, Callable[[bytes], bytes]] = {
    "not_a_number": lambda _: b"9.91E37\n", "over_range_text": lambda _: b"OVERLOAD\n", "stars": lambda _: b"****\n",
    "empty": lambda _: b"\n", "stray_before": lambda answer: STRAY + answer,
    "stray_line": lambda answer: b"\n" + answer, "stray_after": lambda answer: answer + STRAY,
    "return_line": lambda answer: answer if answer.startswith(b"#") else answer.removesuffix(b"\n") + b"\r\n",
    "exception_code": lambda frame: frame[:4] + bytes((0, 3, frame[6], frame[7] | 0x80, DEVICE_FAILURE)),
    "other_transaction": lambda frame: bytes((frame[0] ^ 0xFF,)) + frame[1:],
}


class FaultyLine:
    """Carries the messages of one connection to an instrument, and its answers back, as well as `faults` allow.

    `execute` obeys one message and returns the answer, if any; `unheard` is told that a client left before its
    answer. `ended` is set when the server ends.
    """

    def __init__(self, execute: Callable[[bytes], bytes], connection: socket.socket, faults: LineFaults, ended: Event,
                 unheard: Callable[[], None] = lambda: None) -> None:
        self._execute, self._connection, self._faults, self._ended = execute, connection, faults, ended
        self._unheard = unheard
        self._last, self._behind = b"", False

    def pass_on(self, message: bytes, framed: Callable[[bytes], bytes] = bytes) -> None:
        """Have the instrument obey `message`, unless it is lost, and send its answer as `framed` puts it."""
        fault = self._faults.befall(message)
        if not self._is_read() or self._faults.is_silent():
            return
        answer = self._execute(message)
        if not answer or self._faults.is_silent():
            return
        kind = fault.kind if fault else ""
        self._behind = self._behind or kind == "one_behind"
        answer, self._last = (self._last if self._behind else answer), answer
        if kind == "drop_answer" or not answer:
            return
        try:
            self._send(framed(_ALTERED.get(kind, bytes)(answer)), fault)
        except OSError:     # the client left before its answer
            self._unheard()
            raise

    def _send(self, content: bytes, fault: Fault | None) -> None:
        send, kind = self._connection.sendall, fault.kind if fault else ""
        if kind == "half_close":
            send(content[:len(content) // 2])
            raise ConnectionAbortedError("half of the answer, then closed")
        if fault is not None and kind in ("late", "half_late", "trickle"):
            self._send_slowly(content, fault.seconds, kind)
        else:
            send(content)

    def _send_slowly(self, content: bytes, seconds: float, kind: str) -> None:
        if kind == "trickle":
            parts = [content[index:index + 1] for index in range(len(content))]
        else:
            cut = len(content) // 2 if kind == "half_late" else 0
            parts = [content[:cut], content[cut:]]
        for index, part in enumerate(parts):
            if index and (self._ended.wait(seconds) or self._has_left()):
                return
            self._connection.sendall(part)

    def _is_read(self) -> bool:
        """Wait while the line is wedged; what a client had sent is lost when it leaves meanwhile."""
        while self._faults.lasts("wedge"):
            if self._ended.wait(TICK) or self._has_left():
                return False
        return True

    def _has_left(self) -> bool:
        """Return whether the client has closed; what it has sent stays where it is."""
        with suppress(BlockingIOError):
            try:
                return not self._connection.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT)
            except ConnectionError:
                return True
        return False
