"""A small SCPI instrument on a real loopback socket, with faults that a bench can have."""

import socket
import sys
import threading
from pathlib import Path

import pytest

from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.clock import system_clock

sys.path.insert(0, str(Path(__file__).parent))      # for the instruments beside the tests
IDENTITY = Identity("PLANT", "TOY", "T-1", "1")


class ToyInstrument:
    """Answers line by line from `answers`; everything else is taken as a command and remembered."""

    def __init__(self, identity=str(IDENTITY)):
        self.answers = {"*IDN?": identity, "*TST?": "0", "*ESR?": "0"}
        self.errors = []          # error queue
        self.commands = []
        self.connections = 0
        self.reactions = {}       # line -> function(connection): what to do instead of answering
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._open = []
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def resource(self):
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

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
            self.connections += 1
            self._open.append(connection)
            threading.Thread(target=self._serve, args=(connection,), daemon=True).start()

    def _serve(self, connection):
        try:
            with connection, connection.makefile("rb") as lines:
                for line in lines:
                    self._react(connection, line.decode("ascii").strip())
        except (OSError, ValueError):
            return

    def _react(self, connection, line):
        if line in self.reactions:
            self.reactions[line](connection)
        elif line == "SYST:ERR?":
            connection.sendall((self.errors.pop(0) if self.errors else '0,"No error"').encode() + b"\n")
        elif line in self.answers:
            answer = self.answers[line]
            connection.sendall(answer if isinstance(answer, bytes) else answer.encode() + b"\n")
        elif line.endswith("?"):
            self.errors.append('-113,"Undefined header"')
        else:
            self.commands.append(line)


@pytest.fixture
def toy():
    instrument = ToyInstrument()
    yield instrument
    instrument.close()


@pytest.fixture
def session(toy):
    opened = ScpiSession("ohmmeter", toy.resource, IDENTITY, system_clock(), 0.3)
    yield opened
    opened.close()
