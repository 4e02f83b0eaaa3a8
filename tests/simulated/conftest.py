"""A served simulated bench in fast motion, and a plain socket client that knows nothing of the server."""

import socket
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

import station.simulated
from station.simulated.bench import SimulatedBench
from station.simulated.lot import load_lot
from station.simulated.rig import Rig

LOT = Path(station.simulated.__file__).with_name("demo_lot.toml")
PACE = 20.0


class Client:
    """Sends bytes, reads lines or blocks."""

    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=10.0)
        self.lines = self.socket.makefile("rb")

    def send(self, message):
        self.socket.sendall(message.encode() + b"\n")

    def ask(self, message):
        self.send(message)
        return self.lines.readline().decode().removesuffix("\n")

    def numbers(self, message):
        return [float(text) for text in self.ask(message).replace(";", ",").split(",")]

    def block(self, message):
        self.send(message)
        mark, digits = self.lines.read(2).decode()
        assert mark == "#"
        body = self.lines.read(int(self.lines.read(int(digits))))
        assert self.lines.read(1) == b"\n"
        return body

    def close(self):
        self.lines.close()
        self.socket.close()


@contextmanager
def _served(**more):
    rig = Rig(load_lot(LOT), 5, PACE)
    with SimulatedBench(rig, {}, seed=5, **more) as bench:
        rig.place("CP40-0001")
        rig.attended = True
        yield bench


@pytest.fixture
def served():
    with _served() as bench:
        yield bench


@pytest.fixture
def served_with():
    """Return a context of the same bench built with more options."""
    return _served


@pytest.fixture
def connect(served):
    """Return a function that opens a client to a role."""
    with ExitStack() as stack:
        def open_client(role):
            client = Client(served.ports[role])
            stack.callback(client.close)
            return client

        yield open_client


@pytest.fixture
def until():
    """Return a function that waits for something to become true; the test's own time limit ends it."""
    from time import sleep

    def wait(is_true):
        while not is_true():
            sleep(0.002)

    return wait


@pytest.fixture
def start(connect, until):
    """Return a function that arms and lets the person at the bench press START."""
    def press():
        guard = connect("guard")
        guard.send("OUTP ON")
        until(lambda: int(guard.ask("DIG:DATA?")) & 2)
        return guard

    return press
