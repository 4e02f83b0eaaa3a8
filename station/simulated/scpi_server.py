"""One simulated instrument on its own loopback TCP port: framing, connections, faults on the way, clean stop."""

import socket

from station.simulated.faulty_line import FaultyLine
from station.simulated.line_faults import LineFaults
from station.simulated.listener import Listener
from station.simulated.scpi_error import ScpiError
from station.simulated.served import Served

INPUT_LIMIT = 65536     # bytes of one message


class ScpiServer(Listener):
    """Serves `instrument` to any number of clients, as well as `faults` allow.

    Port 0 takes a free port. Messages end with NL, CR before it is ignored.
    """

    def __init__(self, instrument: Served, port: int, faults: LineFaults) -> None:
        super().__init__(port, f"instrument {instrument.model}", self._converse, instrument.look, instrument.end)
        self._instrument, self._faults = instrument, faults
        faults.cover(self)

    def _converse(self, connection: socket.socket) -> None:
        with self._faults.admitted() as welcome:
            if welcome:
                self._serve_client(connection)

    def _serve_client(self, connection: socket.socket) -> None:
        frame = _Frame(self._instrument)
        line = FaultyLine(self._instrument.execute, connection, self._faults, self.ended,
                          lambda: self._instrument.report(ScpiError(-410)))
        while received := connection.recv(65536):
            for message in frame.messages(received):
                line.pass_on(message)
        frame.close()


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
