"""One simulated instrument on its own loopback TCP port: framing, connections, silence, clean stop."""

import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Event, Lock, Thread
from types import TracebackType
from typing import Self

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument

HOST = "127.0.0.1"
TICK = 0.05             # s, wall, between looks at the instrument
INPUT_LIMIT = 65536     # bytes of one message


class ScpiServer:
    """Serves `instrument` to any number of clients from entering to leaving the `with` block.

    `monotonic` gives wall seconds; port 0 takes a free port. Messages end with NL, CR before it is ignored.
    """

    def __init__(self, instrument: ScpiInstrument, port: int, monotonic: Callable[[], float]) -> None:
        self.instrument = instrument
        self._monotonic, self._silent_until = monotonic, float("-inf")
        self._listener = socket.create_server((HOST, port))
        self._listener.settimeout(TICK)
        self.port = int(self._listener.getsockname()[1])
        self._ended, self._lock = Event(), Lock()
        self._connections: dict[socket.socket, Thread] = {}
        self._thread = Thread(target=self._serve, name=f"instrument {instrument.model}")

    def __enter__(self) -> Self:
        """Start serving."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and every thread has ended when this returns."""
        self._ended.set()
        self.instrument.end()
        with suppress(OSError):         # wakes the accepting thread at once where the system allows it
            self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._listener.close()
        with self._lock:
            open_now = dict(self._connections)
        for connection, thread in open_now.items():
            with suppress(OSError):     # the client may have closed it already
                connection.shutdown(socket.SHUT_RDWR)
            thread.join()

    def silence(self, seconds: float) -> None:
        """Lose every message for so many wall seconds, as an instrument whose firmware hangs does."""
        self._silent_until = self._monotonic() + seconds

    def _is_silent(self) -> bool:
        return self._monotonic() < self._silent_until

    def _serve(self) -> None:
        while not self._ended.is_set():
            with suppress(TimeoutError):
                connection = self._accept()
                if connection is None:
                    return
                connection.settimeout(None)
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                thread = Thread(target=self._converse, args=(connection,), name=self._thread.name)
                with self._lock:
                    self._connections[connection] = thread
                thread.start()
            self.instrument.look()

    def _accept(self) -> socket.socket | None:
        try:
            return self._listener.accept()[0]
        except OSError:
            if self._ended.is_set():    # the listener was shut down under it
                return None
            raise

    def _converse(self, connection: socket.socket) -> None:
        frame = _Frame(self.instrument)
        with connection, suppress(OSError):     # a client that goes away ends only its own connection
            while received := connection.recv(65536):
                for message in frame.messages(received):
                    self._answer(connection, message)
            frame.close()
        with self._lock:
            self._connections.pop(connection, None)

    def _answer(self, connection: socket.socket, message: bytes) -> None:
        if self._is_silent():
            return
        answer = self.instrument.execute(message)
        if not answer or self._is_silent():
            return
        try:
            connection.sendall(answer)
        except OSError:     # the client left before its answer
            self.instrument.report(ScpiError(-410))
            raise


class _Frame:
    """Cuts the bytes of one connection into messages; an overlong one is dropped whole."""

    def __init__(self, instrument: ScpiInstrument) -> None:
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
