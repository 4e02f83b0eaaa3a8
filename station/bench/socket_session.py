"""The station's own raw-socket session for pyvisa-py: one deadline for every transfer, closed peers told at once.

The session that pyvisa-py brings reports a refused connection as open, spins on a closed peer, tests its
time-out only while nothing arrives, and knows none for writing. This one takes its place in pyvisa-py's own
registry, so pyvisa's programming interface stays as it is.
"""

import socket
import time

from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa_py.sessions import Session
from pyvisa_py.tcpip import TCPIPSocketSession

CHUNK = 1 << 16             # bytes asked of the socket at once
OPEN_TIMEOUT = 2.0          # s, when the caller names none
CLEAR_DEADLINE = 0.3        # s to throw away what a peer still sends
QUIET = 0.05                # s without a byte, after which a peer counts as silent
FOR_EVER = 1e9              # s; a pyvisa time-out of None


@Session.register(InterfaceType.tcpip, "SOCKET")
class DeadlineSocketSession(TCPIPSocketSession):  # type: ignore[misc]  # pyvisa-py is not typed
    """A raw socket on which `timeout` (s) bounds each whole read and each whole write.

    Raises ConnectionError from `stale` and `read_into` when the peer has closed; `read` and `write` say it by
    the status of VISA, as pyvisa expects.
    """

    interface: socket.socket
    timeout: float | None

    def _connect(self) -> StatusCode:
        seconds = self.open_timeout / 1000.0 if self.open_timeout else OPEN_TIMEOUT
        self.interface = socket.create_connection((self.parsed.host_address, int(self.parsed.port)), seconds)
        self.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return StatusCode.success

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Return up to `count` bytes, fewer when the termination character is on and comes earlier."""
        end, termination, seen = self._end(), self._termination(), 0
        while len(self._pending_buffer) < count:
            found = self._pending_buffer.find(termination, seen) if termination else -1
            if found >= 0:
                return self._take(found + 1), StatusCode.success_termination_character_read
            seen = len(self._pending_buffer)
            try:
                # With a termination character any rest stays here; else never more than asked for.
                received = self._receive(CHUNK if termination else count - seen, end)
            except TimeoutError:
                return self._take(count), StatusCode.error_timeout
            except ConnectionError:
                return self._take(count), StatusCode.error_connection_lost
            self._pending_buffer += received
            if not self._waits_for_more():
                return self._take(count), StatusCode.success
        found = self._pending_buffer.find(termination, 0, count) if termination else -1
        if found >= 0:
            return self._take(found + 1), StatusCode.success_termination_character_read
        return self._take(count), StatusCode.success_max_count_read

    def read_into(self, memory: memoryview) -> None:
        """Fill `memory`, a view of bytes, straight from the socket; TimeoutError or ConnectionError if it cannot."""
        end, filled = self._end(), min(len(self._pending_buffer), len(memory))
        memory[:filled] = self._take(filled)
        while filled < len(memory):
            self.interface.settimeout(self._left(end))
            got = self.interface.recv_into(memory[filled:])
            if not got:
                raise ConnectionError(f"the peer closed after {filled} of {len(memory)} bytes")
            filled += got

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data`, also to a peer that reads slowly, or say how far it came."""
        end, sent, whole = self._end(), 0, memoryview(data)
        while sent < len(whole):
            try:
                self.interface.settimeout(self._left(end))
                sent += self.interface.send(whole[sent:])
            except TimeoutError:
                return sent, StatusCode.error_timeout
            except OSError:
                return sent, StatusCode.error_connection_lost
        return sent, StatusCode.success

    def clear(self) -> StatusCode:
        """Throw away what has arrived and still arrives, for a bounded time."""
        self._pending_buffer.clear()
        end = time.monotonic() + CLEAR_DEADLINE
        try:
            while (now := time.monotonic()) < end - QUIET:
                self._receive(CHUNK, now + QUIET)
        except TimeoutError:
            return StatusCode.success
        except OSError:
            return StatusCode.error_connection_lost
        return StatusCode.error_timeout

    def stale(self) -> bool:
        """Return whether bytes wait that nobody asked for; ConnectionError when the peer has closed."""
        if self._pending_buffer:
            return True
        self.interface.settimeout(0.0)
        try:
            if not self.interface.recv(1, socket.MSG_PEEK):
                raise ConnectionError("the peer closed the connection")
        except BlockingIOError:
            return False
        return True

    def shut(self) -> None:
        """End every transfer under way, from any thread; the session can only be closed after it."""
        self.interface.shutdown(socket.SHUT_RDWR)

    def _receive(self, most: int, end: float) -> bytes:
        self.interface.settimeout(self._left(end))
        received = self.interface.recv(most)
        if not received:
            raise ConnectionError("the peer closed the connection")
        return received

    def _take(self, count: int) -> bytes:
        taken = bytes(self._pending_buffer[:count])
        del self._pending_buffer[:count]
        return taken

    def _termination(self) -> bytes:
        on, _ = self.get_attribute(ResourceAttribute.termchar_enabled)
        return bytes([self.get_attribute(ResourceAttribute.termchar)[0]]) if on else b""

    def _waits_for_more(self) -> bool:
        return bool(self.get_attribute(ResourceAttribute.suppress_end_enabled)[0])

    def _end(self) -> float:
        return time.monotonic() + (FOR_EVER if self.timeout is None else self.timeout)

    def _left(self, end: float) -> float:
        left = end - time.monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        return min(left, FOR_EVER)
