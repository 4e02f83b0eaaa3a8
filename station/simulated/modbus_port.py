"""The port at which clients meet the simulated Modbus drive: frames are passed on to its server, or fail on the way."""

import socket
from contextlib import suppress

from station.simulated.faulty_line import FaultyLine
from station.simulated.line_faults import LineFaults
from station.simulated.listener import HOST, Listener

HEAD, LONGEST = 6, 254      # bytes before and after the length of a frame. Source: Modbus TCP implementation guide
ANSWERED = 5.0              # s, wall, within which the server answers whatever it answers


class ModbusPort(Listener):
    """Carries each client's requests to the server at `behind`, as well as `faults` allow; port 0 takes a free one."""

    def __init__(self, port: int, behind: int, faults: LineFaults) -> None:
        super().__init__(port, "instrument DRIVE-402, port", self._converse)
        self._behind, self._faults = behind, faults
        faults.cover(self)

    def _converse(self, connection: socket.socket) -> None:
        with self._faults.admitted() as welcome:
            if welcome:
                with socket.create_connection((HOST, self._behind), timeout=ANSWERED) as server:
                    self._carry(connection, server)

    def _carry(self, client: socket.socket, server: socket.socket) -> None:
        server.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        line = FaultyLine(lambda request: _ask(server, request), client, self._faults, self.ended)
        while request := _frame(client):
            line.pass_on(request)


def _ask(server: socket.socket, request: bytes) -> bytes:
    server.sendall(request)
    with suppress(TimeoutError):
        return _frame(server)
    return b""


def _frame(link: socket.socket) -> bytes:
    """Return the next whole frame; nothing when the peer has left, ConnectionError when it sends none."""
    head = _exactly(link, HEAD)
    length = int.from_bytes(head[4:6], "big")
    if head and not 1 < length <= LONGEST:
        raise ConnectionError(f"a frame that claims {length} bytes")
    return head and head + _exactly(link, length)


def _exactly(link: socket.socket, count: int) -> bytes:
    received = b""
    while len(received) < count:
        chunk = link.recv(count - len(received))
        if not chunk:
            return b""
        received += chunk
    return received
