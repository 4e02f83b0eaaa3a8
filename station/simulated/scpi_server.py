"""One simulated instrument on its own loopback TCP port: framing, connections, faults on the way, clean stop."""

import socket
from collections.abc import Callable
from threading import Event, Lock
from types import TracebackType
from typing import Self

from station.simulated.fault_plan import ON_THE_WIRE, Fault, FaultPlan
from station.simulated.faulty_line import FaultyLine
from station.simulated.listener import Listener
from station.simulated.scpi_error import ScpiError
from station.simulated.served import Served

INPUT_LIMIT = 65536     # bytes of one message


class ScpiServer:
    """Serves `instrument` to any number of clients from entering to leaving the `with` block.

    `monotonic` gives wall seconds; port 0 takes a free port. Messages end with NL, CR before it is ignored.
    `faults` may be armed from any thread; those that are not of the wire are given to `strike`.
    """

    def __init__(self, instrument: Served, port: int, monotonic: Callable[[], float],
                 strike: Callable[[Fault], None] = lambda _: None) -> None:
        self.instrument, self.faults = instrument, FaultPlan()
        self._monotonic, self._strike = monotonic, strike
        # Until when which fault lasts, wall s; whatever is absent has never begun.
        self._until: dict[str, float] = {}
        self._served, self._lock, self._ended = 0, Lock(), Event()
        self._listener = Listener(port, f"instrument {instrument.model}", self._converse, instrument.look)
        self.port = self._listener.port

    def __enter__(self) -> Self:
        """Start serving."""
        self._listener.__enter__()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and every thread has ended when this returns."""
        self._ended.set()
        self.instrument.end()
        self._listener.__exit__(kind, error, trace)

    def silence(self, seconds: float) -> None:
        """Lose every message for so many wall seconds, as an instrument whose firmware hangs does."""
        self._until["hang"] = self._monotonic() + seconds

    def is_silent(self) -> bool:
        """Return whether messages are being lost."""
        return self._lasts("hang")

    def mend(self) -> None:
        """End every fault of the line and take back those that have not struck."""
        self.faults.clear()
        self._until.clear()

    def drop_clients(self) -> None:
        """Close every connection, as a power cut does."""
        self._listener.drop()

    def _lasts(self, kind: str) -> bool:
        return self._monotonic() < self._until.get(kind, float("-inf"))

    def _converse(self, connection: socket.socket) -> None:
        with self._lock:
            welcome = not self._lasts("shut_out") and not (self._served and self._lasts("one_client"))
            self._served += welcome
        if welcome:
            try:
                self._serve(connection)
            finally:
                with self._lock:
                    self._served -= 1

    def _serve(self, connection: socket.socket) -> None:
        frame = _Frame(self.instrument)
        line = FaultyLine(self.instrument, connection, self._ended, self.is_silent, lambda: self._lasts("wedge"))
        while received := connection.recv(65536):
            for message in frame.messages(received):
                line.pass_on(message, self._befall(message))
        frame.close()

    def _befall(self, message: bytes) -> Fault | None:
        """Let the fault that is due with `message` begin; return it if the line must do the rest."""
        fault = self.faults.due(message)
        if fault is None:
            return None
        if fault.kind not in ON_THE_WIRE:
            self._strike(fault)
            return None
        if fault.kind in ("hang", "wedge", "shut_out", "one_client"):
            self._until[fault.kind] = self._monotonic() + fault.seconds
        if fault.kind in ("shut_out", "one_client"):
            self.drop_clients()
        return fault


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
