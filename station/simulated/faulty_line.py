"""The line between a simulated instrument and one client, and how it may fail."""

import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Event

from station.simulated.fault_plan import Fault
from station.simulated.scpi_error import ScpiError
from station.simulated.served import Served

TICK = 0.01         # s, wall, between looks whether a client that waits for a wedged line has left
STRAY = b"\xff"
_INSTEAD = {"not_a_number": b"9.91E37", "over_range_text": b"OVERLOAD", "stars": b"****", "empty": b"",
            "drop_answer": b""}


class FaultyLine:
    """Carries the messages of one connection to `instrument`, and its answers back, as well as `fault` allows.

    `is_silent` tells whether messages are being lost, `is_wedged` whether nothing is read; `ended` is set when
    the server ends.
    """

    def __init__(self, instrument: Served, connection: socket.socket, ended: Event,
                 is_silent: Callable[[], bool], is_wedged: Callable[[], bool]) -> None:
        self._instrument, self._connection, self._ended = instrument, connection, ended
        self._is_silent, self._is_wedged = is_silent, is_wedged
        self._last, self._behind = b"", False

    def pass_on(self, message: bytes, fault: Fault | None) -> None:
        """Have the instrument obey `message`, unless it is lost, and send its answer."""
        if not self._is_read() or self._is_silent():
            return
        answer = self._instrument.execute(message)
        if not answer or self._is_silent():
            return
        if fault is not None and fault.kind == "one_behind":
            self._behind = True
        answer, self._last = (self._last if self._behind else answer), answer
        try:
            self._send(answer, fault)
        except OSError:     # the client left before its answer
            self._instrument.report(ScpiError(-410))
            raise

    def _send(self, answer: bytes, fault: Fault | None) -> None:
        send, kind = self._connection.sendall, fault.kind if fault else ""
        body = answer.removesuffix(b"\n")
        half = answer[:len(answer) // 2]
        if kind in _INSTEAD:
            instead = _INSTEAD[kind]
            send(b"" if kind == "drop_answer" else instead + b"\n")
        elif kind in ("late", "half_late", "trickle"):
            self._send_slowly(answer, fault.seconds if fault else 0.0, kind)
        elif kind == "half_close":
            send(half)
            raise ConnectionAbortedError("half of the answer, then closed")
        elif kind == "return_line":
            send(body + b"\r\n" if not body.startswith(b"#") else answer)
        else:
            before = {"stray_before": STRAY, "stray_line": b"\n"}.get(kind, b"")
            send(before + answer + (STRAY if kind == "stray_after" else b""))

    def _send_slowly(self, answer: bytes, seconds: float, kind: str) -> None:
        if kind == "trickle":
            parts = [answer[index:index + 1] for index in range(len(answer))]
        else:
            cut = len(answer) // 2 if kind == "half_late" else 0
            parts = [answer[:cut], answer[cut:]]
        for index, part in enumerate(parts):
            if index and (self._ended.wait(seconds) or self._has_left()):
                return
            self._connection.sendall(part)

    def _is_read(self) -> bool:
        """Wait while the line is wedged; what a client had sent is lost when it leaves meanwhile."""
        while self._is_wedged():
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
