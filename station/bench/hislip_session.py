"""The station's own HiSLIP session for pyvisa-py: one deadline for every transfer, blocks read into place.

pyvisa-py gives each single receive the whole time-out, connects its second channel without one, and waits for
ever for the rest of a message that it throws away. The two channels of this session share one deadline per
transfer, and tell a closed peer at once.
"""

import math
import socket
import time
from typing import Any, Self

from pyvisa import constants
from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa.rname import parse_resource_name
from pyvisa_py.protocols import hislip
from pyvisa_py.sessions import Session
from pyvisa_py.tcpip import TCPIPInstrHiSLIP, TCPIPInstrSession

OPEN_TIMEOUT = 2.0      # s, when the caller names none
FOR_EVER = 1e9          # s


class DeadlineSocket(socket.socket):
    """A socket whose transfers all end at `until`; a closed peer raises ConnectionError instead of nothing."""

    until: float = math.inf

    @classmethod
    def connected(cls, address: str, port: int, until: float) -> Self:
        """Connect to `address` until then."""
        left = until - time.monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        channel = cls(fileno=socket.create_connection((address, port), left).detach())
        channel.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        channel.until = until
        return channel

    def recv_into(self, buffer: Any, nbytes: int = 0, flags: int = 0) -> int:  # noqa: ANN401 - as socket has it
        """Receive as a socket does, at least one byte."""
        self._allow()
        got = super().recv_into(buffer, nbytes, flags)
        if not got:
            raise ConnectionError("the peer closed the connection")
        return got

    def sendall(self, data: Any, flags: int = 0) -> None:  # noqa: ANN401 - as socket has it
        """Send as a socket does."""
        self._allow()
        super().sendall(data, flags)

    def _allow(self) -> None:
        left = self.until - time.monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        self.settimeout(min(left, FOR_EVER))


class HislipLink(hislip.Instrument):  # type: ignore[misc]  # pyvisa-py is not typed
    """pyvisa-py's protocol over two channels with one deadline; set it by `allow` before each transfer."""

    _sync: DeadlineSocket
    _async: DeadlineSocket

    def __init__(self, address: str, port: int, sub_address: str, seconds: float) -> None:
        until = time.monotonic() + seconds
        self._timeout, self._keepalive, self._rmt = seconds, False, 0
        self._message_id, self._last_message_id = 0xFFFF_FF00, None
        self._msg_type, self._payload_remaining = "", 0
        self._sync = DeadlineSocket.connected(address, port, until)
        try:
            session = self.initialize(sub_address=sub_address.encode("ascii")).session_id
            self._async = DeadlineSocket.connected(address, port, until)
        except BaseException:
            self._sync.close()
            raise
        try:
            self._async_init = self.async_initialize(session_id=session)
            self._max_msg_size = self.async_maximum_message_size(hislip.DEFAULT_MAX_MSG_SIZE)
        except BaseException:
            self.close()
            raise

    @property
    def timeout(self) -> float:
        """Seconds for a transfer, as pyvisa sets them; `allow` starts them."""
        return self._timeout

    @timeout.setter
    def timeout(self, seconds: float) -> None:
        self._timeout = seconds

    def allow(self, seconds: float) -> None:
        """Let all that follows take so long together."""
        self._sync.until = self._async.until = time.monotonic() + seconds

    def receive_into(self, memory: memoryview) -> None:
        """Fill `memory`, a view of bytes, from the message under way; ConnectionError if that is too short."""
        left = memory
        while left:
            if self._payload_remaining <= 0:
                if self._msg_type == "DataEnd":
                    raise ConnectionError(f"the message ended {len(left)} bytes early")
                self._msg_type, self._payload_remaining = self._next_data_header()
            step = min(self._payload_remaining, len(left))
            hislip.receive_exact_into(self._sync, left[:step])
            self._payload_remaining -= step
            left = left[step:]
        self._rmt = int(self._payload_remaining == 0 and self._msg_type == "DataEnd")

    def has_unread(self) -> bool:
        """Return whether a message is not read to its end, or another waits; ConnectionError if closed."""
        if self._payload_remaining > 0 or self._msg_type == "Data":
            return True
        self._sync.settimeout(0.0)
        try:
            if not self._sync.recv(1, socket.MSG_PEEK):
                raise ConnectionError("the peer closed the connection")
        except BlockingIOError:
            return False
        return True

    def shut(self) -> None:
        """End every transfer under way, from any thread."""
        self._sync.shutdown(socket.SHUT_RDWR)


class DeadlineHislipSession(TCPIPInstrHiSLIP):  # type: ignore[misc]  # pyvisa-py is not typed
    """A HiSLIP session on which `timeout` (s) bounds each whole read and each whole write."""

    interface: HislipLink
    timeout: float | None

    def after_parsing(self) -> None:
        """Open with the station's link and set the attributes that pyvisa asks for."""
        name, _, port = self.parsed.lan_device_name.partition(",")
        seconds = self.open_timeout / 1000.0 if self.open_timeout else OPEN_TIMEOUT
        self.interface = HislipLink(self.parsed.host_address, int(port or hislip.PORT), name, seconds)
        self.attrs.update({
            ResourceAttribute.tcpip_is_hislip: constants.VI_TRUE,
            ResourceAttribute.tcpip_address: self.parsed.host_address,
            ResourceAttribute.tcpip_device_name: self.parsed.lan_device_name,
            ResourceAttribute.tcpip_port: int(port or hislip.PORT),
            ResourceAttribute.send_end_enabled: constants.VI_TRUE,
            ResourceAttribute.suppress_end_enabled: constants.VI_FALSE,
            ResourceAttribute.termchar: ord("\n"),
            ResourceAttribute.termchar_enabled: constants.VI_FALSE,
        })

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Return up to `count` bytes of the message under way."""
        self._allow()
        data, status = super().read(count)
        return bytes(data), status

    def read_into(self, memory: memoryview) -> None:
        """Fill `memory` from the message under way; TimeoutError or ConnectionError if it cannot."""
        self._allow()
        self.interface.receive_into(memory)

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send `data` as one message."""
        self._allow()
        try:
            self.interface.send(data)
        except TimeoutError:
            return 0, StatusCode.error_timeout
        return len(data), StatusCode.success

    def clear(self) -> StatusCode:
        """Clear the device within the time-out."""
        self._allow()
        self.interface.device_clear()
        return StatusCode.success

    def stale(self) -> bool:
        """Return whether bytes wait that nobody asked for; ConnectionError when the peer has closed."""
        return self.interface.has_unread()

    def shut(self) -> None:
        """End every transfer under way, from any thread; the session can only be closed after it."""
        self.interface.shut()

    def _allow(self) -> None:
        self.interface.allow(FOR_EVER if self.timeout is None else self.timeout)


@Session.register(InterfaceType.tcpip, "INSTR")
class LanInstrumentSession(TCPIPInstrSession):  # type: ignore[misc]  # pyvisa-py is not typed
    """Sends HiSLIP addresses to the session above and leaves VXI-11 to pyvisa-py."""

    def __new__(cls, rm_session: int, resource_name: str, parsed: Any = None,  # noqa: ANN401 - pyvisa's own class
                open_timeout: int | None = None) -> Any:  # noqa: ANN401 - one of two sessions without common type
        """Return the session for the device name in the address."""
        parsed = parsed or parse_resource_name(resource_name)
        if parsed.lan_device_name.lower().startswith("hislip"):
            return DeadlineHislipSession(rm_session, resource_name, parsed, open_timeout)
        return TCPIPInstrSession.__new__(TCPIPInstrSession, rm_session, resource_name, parsed, open_timeout)
