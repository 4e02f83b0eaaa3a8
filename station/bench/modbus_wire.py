"""The only place of the bench that touches pymodbus: a connection to one Modbus TCP device, with a deadline."""

import logging
import socket
from collections.abc import Callable
from contextlib import suppress

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.mei_message import ReadDeviceInformationResponse

from station.bench.register_map import SPANS, Register

_EXCEPTIONS = {1: "illegal function", 2: "illegal address", 3: "illegal value", 4: "device failure",
               6: "device busy", 11: "no answer behind the gateway"}   # Source: Modbus application protocol

HEAD, LONGEST = 6, 254      # bytes before and after the length of a frame. Source: Modbus TCP implementation guide

logging.getLogger("pymodbus").addHandler(logging.NullHandler())     # every failure is raised, and needs no print


class RefusedError(Exception):
    """The device answered with an exception code; the connection is still in step."""


class ModbusWire:
    """One open connection. Every exchange takes `until`, the monotonic time at which it gives up.

    Not thread-safe: it belongs to the owner thread of its session. Raises TimeoutError past the deadline and
    ConnectionError when the peer refuses, closes or answers out of step; after either it must be closed.
    """

    def __init__(self, address: tuple[str, int], unit: int, monotonic: Callable[[], float], until: float,
                 *, big_word_first: bool = True, write_single: bool = True) -> None:
        self._unit, self._big_word_first, self._write_single = unit, big_word_first, write_single
        self._client = _Client(address, monotonic)
        self._client.until = until
        self._client.connect()

    def close(self) -> None:
        """Close the connection; safe to repeat."""
        self._client.close()

    def shut(self) -> None:
        """Break off what another thread waits for on this connection; it must still be closed by its owner."""
        self._client.shut()

    def has_unread(self) -> bool:
        """Return whether bytes wait that no request asked for, or the peer has closed."""
        return self._client.has_unread()

    def read(self, register: Register, until: float) -> int:
        """Return the raw number in `register`."""
        words = self.read_words(register, register.words, until)
        if register.words == 2 and not self._big_word_first:
            words.reverse()
        raw = int.from_bytes(b"".join(word.to_bytes(2, "big") for word in words), "big")
        _, high = SPANS[register.number]
        return raw - (1 << 16 * register.words) if raw > high else raw

    def read_words(self, first: Register, count: int, until: float) -> list[int]:
        """Return `count` registers from `first`, as unsigned words."""
        read = self._client.read_input_registers if first.table == "input" else self._client.read_holding_registers
        answer = self._exchange(lambda: read(first.address, count=count, device_id=self._unit), until)
        if len(answer.registers) != count:
            raise ConnectionError(f"{len(answer.registers)} registers came for {count}")
        return list(answer.registers)

    def write(self, register: Register, raw: int, until: float) -> None:
        """Write the raw number `raw`; ValueError when `register` cannot hold it."""
        low, high = SPANS[register.number]
        if not low <= raw <= high:
            raise ValueError(f"{raw} is outside {low} to {high}")
        content = (raw & ((1 << 16 * register.words) - 1)).to_bytes(2 * register.words, "big")
        words = [int.from_bytes(content[k:k + 2], "big") for k in range(0, len(content), 2)]
        if not self._big_word_first:
            words.reverse()
        if len(words) == 1 and self._write_single:
            self._exchange(lambda: self._client.write_register(register.address, words[0], device_id=self._unit),
                           until)
        else:
            self._exchange(lambda: self._client.write_registers(register.address, words, device_id=self._unit),
                           until)

    def identification(self, number: int, until: float) -> str:
        """Return object `number` of the device identification (function 43/14), asked as a stream."""
        code = 1 if number < 3 else 2 if number < 0x80 else 3   # basic, regular, extended
        answer = self._exchange(lambda: self._client.read_device_information(
            read_code=code, object_id=number, device_id=self._unit), until)
        objects = answer.information if isinstance(answer, ReadDeviceInformationResponse) else {}
        if number not in objects:
            raise RefusedError(f"no object {number} in the device identification")
        return bytes(objects[number]).decode("ascii", "backslashreplace").strip("\0 ")

    def _exchange(self, ask: Callable[[], ModbusPDU], until: float) -> ModbusPDU:
        self._client.until = until
        try:
            answer = ask()
        except ModbusException as error:
            if self._client.is_late():
                raise TimeoutError("the deadline has passed") from error
            raise ConnectionError(str(error)) from error
        if answer.isError():
            code = answer.exception_code
            raise RefusedError(f"exception {code}: {_EXCEPTIONS.get(code, 'of the maker')}")
        return answer


class _Client(ModbusTcpClient):
    """Keeps one deadline for a whole exchange, where pymodbus starts its time-out again with every byte."""

    def __init__(self, address: tuple[str, int], monotonic: Callable[[], float]) -> None:
        super().__init__(address[0], port=address[1], retries=0)
        self._address, self._monotonic = address, monotonic
        self.until = 0.0

    def is_late(self) -> bool:
        """Return whether the deadline has passed."""
        return self._monotonic() >= self.until

    def connect(self) -> bool:
        """Connect within the deadline."""
        if self.socket is None:
            self.socket = socket.create_connection(self._address, timeout=self._left())
            self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return True

    def close(self) -> None:
        """Close the connection; safe to repeat."""
        if self.socket is not None:
            self.socket.close()
            self.socket = None

    def shut(self) -> None:
        """End both directions, which wakes a thread that waits."""
        link = self.socket
        if link is not None:
            with suppress(OSError):     # its owner may be closing it
                link.shutdown(socket.SHUT_RDWR)

    def send(self, request: bytes, addr: tuple[str, int] | None = None) -> int:
        """Send the whole request."""
        del addr
        self._open().sendall(request)
        return len(request)

    def recv(self, size: int | None) -> bytes:
        """Return the next whole frame; what comes behind it stays unread, to be noticed."""
        del size    # pymodbus never names one for TCP
        head = self._exactly(HEAD)
        length = int.from_bytes(head[4:6], "big")
        if not 1 < length <= LONGEST:
            raise ConnectionError(f"a frame that claims {length} bytes")
        return head + self._exactly(length)

    def _exactly(self, count: int) -> bytes:
        received = b""
        while len(received) < count:
            chunk = self._open().recv(count - len(received))
            if not chunk:
                raise ConnectionError("the peer closed the connection")
            received += chunk
        return received

    def has_unread(self) -> bool:
        """Return whether the peer has sent, or closed, unasked."""
        if self.socket is None:
            return True
        self.socket.settimeout(0.0)
        try:
            self.socket.recv(1, socket.MSG_PEEK)
        except BlockingIOError:
            return False
        return True

    def _open(self) -> socket.socket:
        if self.socket is None:
            raise ConnectionError("the connection is closed")
        self.socket.settimeout(self._left())
        return self.socket

    def _left(self) -> float:
        left = self.until - self._monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        return left
