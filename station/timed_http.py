"""HTTP with one deadline for a whole exchange, request and answer: each on a connection of its own."""

import io
import socket
import ssl
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from http.client import HTTPConnection
from typing import Self

LARGEST = 1 << 20       # bytes of an answer


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back; `kind` is its media type in lower case, without parameters."""

    status: int
    reason: str
    kind: str
    content: bytes      # one byte more than LARGEST where there was more


class Exchange:
    """One connection for one request, open within the `with` block, and the deadline of both.

    Raises OSError (among them TimeoutError when the deadline passes, and ssl.SSLError) and ValueError, for a host that
    cannot be one, while it is opened: then nothing was sent.
    """

    def __init__(self, host: str, port: int, monotonic: Callable[[], float], until: float,
                 context: ssl.SSLContext | None = None) -> None:
        self._host, self._port = host, port
        plain = socket.create_connection((host, port), max(until - monotonic(), 0.01))
        try:
            plain.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if context is not None:
                plain.settimeout(max(until - monotonic(), 0.01))
                plain = context.wrap_socket(plain, server_hostname=host)
            self._timed = _TimedSocket(plain, monotonic, until)
        except BaseException:
            plain.close()
            raise

    def ask(self, method: str, target: str, content: bytes, headers: Mapping[str, str]) -> Answer:
        """Send a request and return the answer; OSError or HTTPException when none came, whatever became of it."""
        connection = HTTPConnection(self._host, self._port)
        connection.sock = self._timed   # it has what http.client asks of a socket
        try:
            with suppress(ConnectionError):     # a server may say no, and close, before it has read the whole
                connection.request(method, target, content, {**headers, "Connection": "close"})
            response = connection.getresponse()
            kind = (response.getheader("Content-Type") or "nothing").partition(";")[0].strip().lower()
            return Answer(response.status, response.reason, kind, response.read(LARGEST + 1))
        finally:
            connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_trouble: object) -> None:
        """Hang up."""
        self._timed.hang_up()


class _TimedSocket:
    """What http.client needs of a socket, with one deadline for everything: its own starts again at each octet."""

    def __init__(self, link: socket.socket, monotonic: Callable[[], float], until: float) -> None:
        self._link, self._monotonic, self._until = link, monotonic, until

    def sendall(self, octets: bytes) -> None:
        """Send all, or TimeoutError."""
        sent, whole = 0, memoryview(octets)
        while sent < len(whole):
            self.arm()
            sent += self._link.send(whole[sent:])

    def makefile(self, mode: str) -> io.BufferedReader:
        """Return what arrives, as a file."""
        del mode    # http.client only reads
        return io.BufferedReader(_Arrivals(self))

    def receive_into(self, memory: memoryview) -> int:
        """Receive what is there, or TimeoutError."""
        self.arm()
        return self._link.recv_into(memory)

    def arm(self) -> None:
        """Give the next transfer the time that is left."""
        left = self._until - self._monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        self._link.settimeout(left)

    def close(self) -> None:
        """Do nothing: http.client closes as soon as it has the head of an answer, and its file reads on."""

    def hang_up(self) -> None:
        """Close the connection; safe to repeat."""
        self._link.close()


class _Arrivals(io.RawIOBase):
    def __init__(self, timed: _TimedSocket) -> None:
        self._timed = timed

    def readable(self) -> bool:
        return True

    def readinto(self, memory: memoryview) -> int:  # type: ignore[override]  # a buffer is always a memoryview here
        return self._timed.receive_into(memory)


def words_of(error: Exception) -> str:
    """Return what went wrong with an exchange, in a few words."""
    if isinstance(error, TimeoutError):
        return "silence"
    return str(getattr(error, "strerror", None) or error) or type(error).__name__
