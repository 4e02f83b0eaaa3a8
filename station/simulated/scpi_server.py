"""One simulated instrument on its own loopback TCP port: framing, connections, silence, clean stop."""

import socket
from collections.abc import Callable
from types import TracebackType
from typing import Self

from station.simulated.listener import Listener
from station.simulated.scpi_error import ScpiError
from station.simulated.served import Served

INPUT_LIMIT = 65536     # bytes of one message


class ScpiServer:
    """Serves `instrument` to any number of clients from entering to leaving the `with` block.

    `monotonic` gives wall seconds; port 0 takes a free port. Messages end with NL, CR before it is ignored.
    """

    def __init__(self, instrument: Served, port: int, monotonic: Callable[[], float]) -> None:
        self.instrument = instrument
        self._monotonic, self._silent_until = monotonic, float("-inf")
        self._listener = Listener(port, f"instrument {instrument.model}", self._converse, instrument.look)
        self.port = self._listener.port

    def __enter__(self) -> Self:
        """Start serving."""
        self._listener.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and every thread has ended when this returns."""
        self.instrument.end()
        self._listener.__exit__(kind, error, trace)

    def silence(self, seconds: float) -> None:
        """Lose every message for so many wall seconds, as an instrument whose firmware hangs does."""
        self._silent_until = self._monotonic() + seconds

    def is_silent(self) -> bool:
        """Return whether messages are being lost."""
        return self._monotonic() < self._silent_until

    def _converse(self, connection: socket.socket) -> None:
        frame = _Frame(self.instrument)
        while received := connection.recv(65536):
            for message in frame.messages(received):
                self._answer(connection, message)
        frame.close()

    def _answer(self, connection: socket.socket, message: bytes) -> None:
        if self.is_silent():
            return
        answer = self.instrument.execute(message)
        if not answer or self.is_silent():
            return
        try:
            connection.sendall(answer)
        except OSError:     # the client left before its answer
            self.instrument.report(ScpiError(-410))
            raise


class _Frame:
    """Cuts the bytes of one connection into messages; an overlong one is dropped whole."""

    def __init__(self, instrument: Served) -> None:
        self._instrument, self._kept, self._overrun = instrument, b"", False

    def messages(self, received: bytes) -> list[bytes]:
        """Return the messages that `received` completes, without their terminators."""
        *ended, self._kept = (self._kept + received).split(b"\n")
        whole = []
        for message in ended:
            if self._overrun or len(message) > INPUT_LIMIT:
                self._drop()
                self._overrun = False
            else:
                whole.append(message)
        if len(self._kept) > INPUT_LIMIT:
            self._drop()
            self._overrun, self._kept = True, b""
        return whole

    def _drop(self) -> None:
        if not self._overrun:
            self._instrument.report(ScpiError(-363))

    def close(self) -> None:
        """Note a query that the client left without ending it."""
        if b"?" in self._kept:
            self._instrument.report(ScpiError(-420))
