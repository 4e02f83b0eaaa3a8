"""A network between station and plant that fails: each connection as it is drawn, on loopback, with real sockets."""

import socket
import threading
from contextlib import contextmanager, suppress

# What becomes of a connection. The server gets a request whole, by halves or not at all; so does the client an answer.
WHOLE, NO_REQUEST, HALF_REQUEST, NO_ANSWER, HALF_ANSWER, LATE = (
    "whole", "no request", "half a request", "no answer", "half an answer", "late")
FAULTS = (NO_REQUEST, HALF_REQUEST, NO_ANSWER, HALF_ANSWER)
DELAY = 0.05        # s


class FaultyLink:
    """Listens on a port of its own and carries what comes to a server; `draw` says what becomes of each connection.

    `cut` unplugs the network: connections are refused until `mend`.
    """

    def __init__(self, server_port, draw):
        self.server_port, self.draw, self.seen = server_port, draw, []
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self._listener.getsockname()[1]
        self._cut = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def cut(self):
        self._cut.set()

    def mend(self):
        self._cut.clear()

    def close(self):
        self._listener.close()

    def _listen(self):
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            fate = NO_REQUEST if self._cut.is_set() else self.draw()
            self.seen.append(fate)
            threading.Thread(target=self._carry, args=(client, fate), daemon=True).start()

    def _carry(self, client, fate):
        with client, suppress(OSError):
            if fate == NO_REQUEST:
                return
            if fate == LATE:
                threading.Event().wait(DELAY)
            with socket.create_connection(("127.0.0.1", self.server_port)) as server:
                threading.Thread(target=self._forth, args=(client, server, fate), daemon=True).start()
                answer = b"" if fate == HALF_REQUEST else received(server)
                client.sendall({NO_ANSWER: b"", HALF_ANSWER: answer[:len(answer) // 2]}.get(fate, answer))
                client.shutdown(socket.SHUT_RDWR)       # as the thread that reads from it keeps it open

    @staticmethod
    def _forth(client, server, fate):
        with suppress(OSError):
            while part := client.recv(1 << 16):
                if fate == HALF_REQUEST:
                    server.sendall(part[:len(part) // 2])
                    server.shutdown(socket.SHUT_RDWR)
                    client.shutdown(socket.SHUT_RDWR)
                    return
                server.sendall(part)


def received(link):
    """Everything that the server says until it hangs up."""
    parts = []
    while part := link.recv(1 << 16):
        parts.append(part)
    return b"".join(parts)


@contextmanager
def faulty_link(server_port, draw=lambda: WHOLE):
    link = FaultyLink(server_port, draw)
    try:
        yield link
    finally:
        link.close()
