"""The only place that touches VISA: a connection to one instrument, with a deadline on every transfer.

pyvisa opens the connection; bytes then move over the socket of the pyvisa-py session directly. Its own
read and write know no total deadline: a peer that trickles, does not read, or has closed can hold them for
ever, and with a termination character on, binary transfers are many times slower than the wire.
"""

import os
import socket
from collections.abc import Callable
from functools import cache
from typing import Any, cast

import numpy as np
import pyvisa
from numpy.typing import NDArray

LINE_CAP = 1 << 16     # bytes of one answer line; no instrument of a bench sends longer ones
CHUNK = 1 << 16        # bytes asked of the socket at once while a line is awaited


@cache
def _resource_manager() -> pyvisa.ResourceManager:
    # One per process: closing any manager would invalidate the sessions of all.
    return pyvisa.ResourceManager("@py")


class Wire:
    """One open connection. Every method takes `until`, the monotonic time at which it gives up.

    Not thread-safe: it belongs to the owner thread of its session. Raises TimeoutError past the deadline
    and ConnectionError when the peer refuses or closes; after either the wire must be closed and not used again.
    """

    def __init__(self, resource: str, monotonic: Callable[[], float], until: float) -> None:
        self._monotonic = monotonic
        self._pending = bytearray()
        milliseconds = max(1, int(self._left(until) * 1000))
        try:
            self._resource = _resource_manager().open_resource(resource, open_timeout=milliseconds)
        except Exception as error:  # the backend raises plain Exception, OSError and VisaIOError alike
            raise ConnectionError(f"cannot open {resource}: {error}") from error
        try:
            self._socket = self._raw_socket()
            self._require_accepted()
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        except BaseException:
            self._resource.close()
            raise

    def _require_accepted(self) -> None:
        # The backend reports a refused connection as open.
        refused = self._socket.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if refused:
            raise ConnectionRefusedError(refused, os.strerror(refused))

    def _raw_socket(self) -> socket.socket:
        backend = cast(Any, self._resource.visalib)
        return cast(socket.socket, backend.sessions[self._resource.session].interface)

    def close(self) -> None:
        """Close the connection; safe to repeat."""
        self._resource.close()

    def has_unread(self) -> bool:
        """Return whether bytes wait that no question asked for, so that the peer is out of step."""
        if self._pending:
            return True
        self._socket.settimeout(0.0)
        try:
            return bool(self._socket.recv(1, socket.MSG_PEEK))
        except BlockingIOError:
            return False

    def send(self, line: bytes, until: float) -> None:
        """Send all of `line`, also to a peer that reads slowly."""
        left = memoryview(line)
        while left:
            self._socket.settimeout(self._left(until))
            left = left[self._socket.send(left):]

    def receive_line(self, until: float) -> bytes:
        """Return the next answer without its line ending; the deadline is for the whole line."""
        while (end := self._pending.find(b"\n")) < 0:
            if len(self._pending) > LINE_CAP:
                raise ConnectionError(f"an answer without end, over {LINE_CAP} bytes")
            self._pending += self._receive(CHUNK, until)
        line = bytes(self._pending[:end])
        del self._pending[:end + 1]
        return line.removesuffix(b"\r")

    def receive_exactly(self, count: int, until: float) -> bytes:
        """Return the next `count` bytes."""
        # Never more than asked for, so that the body of a block stays for `receive_codes`.
        while len(self._pending) < count:
            self._pending += self._receive(count - len(self._pending), until)
        taken = bytes(self._pending[:count])
        del self._pending[:count]
        return taken

    def receive_codes(self, count: int, until: float) -> NDArray[np.int16]:
        """Return the next `count` little-endian 16 bit codes, received straight into their array."""
        codes = np.empty(count, dtype="<i2")
        view = codes.data.cast("B")
        early = min(len(self._pending), len(view))
        view[:early] = self._pending[:early]
        del self._pending[:early]
        filled = early
        while filled < len(view):
            self._socket.settimeout(self._left(until))
            got = self._socket.recv_into(view[filled:])
            if not got:
                raise ConnectionError(f"the peer closed after {filled} of {len(view)} bytes")
            filled += got
        return codes

    def _receive(self, most: int, until: float) -> bytes:
        self._socket.settimeout(self._left(until))
        received = self._socket.recv(most)
        if not received:
            raise ConnectionError("the peer closed the connection")
        return received

    def _left(self, until: float) -> float:
        left = until - self._monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        return left
