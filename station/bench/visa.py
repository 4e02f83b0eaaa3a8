"""The only place that opens VISA resources: a connection to one instrument, with a deadline on every transfer.

Raw sockets and HiSLIP go through sessions of the station's own, registered with pyvisa-py, because those of
pyvisa-py can be held for ever by a peer that trickles, does not read, or has closed. Every other kind
(VXI-11, serial, USB) goes through pyvisa's programming interface as any VISA offers it.
"""

from collections.abc import Callable
from contextlib import suppress
from functools import cache
from typing import Any, Protocol, cast

import numpy as np
import pyvisa
from numpy.typing import NDArray
from pyvisa.constants import ResourceAttribute, SerialTermination, StatusCode
from pyvisa.resources import MessageBasedResource, SerialInstrument

from station.bench.hislip_session import DeadlineHislipSession
from station.bench.socket_session import DeadlineSocketSession

LINE_CAP = 1 << 16     # bytes of one answer line; no instrument of a bench sends longer ones
CHUNK = 1 << 20        # bytes asked of VISA at once
BAUD = 9600            # VISA's own default

DIRECT = (DeadlineSocketSession, DeadlineHislipSession)


class Stream(Protocol):
    """Bytes to and from one instrument; `seconds` bounds each call as a whole.

    Raises TimeoutError when they are over and OSError or any exception of VISA when the connection broke.
    """

    def send(self, data: bytes, seconds: float) -> None:
        """Send all of `data`."""
    def read(self, count: int, seconds: float, *, line: bool) -> bytes:
        """Return `count` bytes; fewer at the end of a `line` or of a message."""
    def read_into(self, memory: memoryview, seconds: float) -> None:
        """Fill `memory`, a view of bytes."""
    def stale(self) -> bool:
        """Return whether bytes wait that nobody asked for."""
    def shut(self) -> None:
        """End a transfer under way, from any thread, where the kind of connection can."""
    def close(self) -> None:
        """Close the connection."""


class Wire:
    """One open connection. Every method takes `until`, the monotonic time at which it gives up.

    Belongs to the owner thread of its session, except `shut`. Raises TimeoutError past the deadline and
    ConnectionError when the peer refuses or closes; after either the wire must be closed and not used again.
    `baud` counts for a serial line only.
    """

    def __init__(self, resource: str, monotonic: Callable[[], float], until: float, baud: int = BAUD) -> None:
        self._monotonic, self.is_shut = monotonic, False
        try:
            self._stream = _open_stream(resource, self._left(until), baud)
        except (TimeoutError, ConnectionError):
            raise
        except Exception as error:  # VISA raises plain Exception, OSError, ValueError and VisaIOError alike
            raise ConnectionError(f"cannot open {resource}: {error or type(error).__name__}") from error

    def close(self) -> None:
        """Close the connection; safe to repeat."""
        with suppress(Exception):  # a broken connection may not even close in order
            self._stream.close()

    def shut(self) -> None:
        """Break off what the owner thread waits for, from any thread; the wire is good for nothing after it."""
        self.is_shut = True
        with suppress(Exception):  # it may have broken by itself
            self._stream.shut()

    def has_unread(self) -> bool:
        """Return whether bytes wait that no question asked for, so that the peer is out of step."""
        return cast(bool, _told(self._stream.stale))

    def send(self, line: bytes, until: float) -> None:
        """Send all of `line`, also to a peer that reads slowly."""
        _told(lambda: self._stream.send(line, self._left(until)))

    def receive_line(self, until: float) -> bytes:
        """Return the next answer without its line ending; the deadline is for the whole line."""
        line = cast(bytes, _told(lambda: self._stream.read(LINE_CAP, self._left(until), line=True)))
        if len(line) >= LINE_CAP:
            raise ConnectionError(f"an answer without end, over {LINE_CAP} bytes")
        return line.removesuffix(b"\n").removesuffix(b"\r")

    def receive_exactly(self, count: int, until: float) -> bytes:
        """Return the next `count` bytes."""
        if not count:
            return b""
        taken = cast(bytes, _told(lambda: self._stream.read(count, self._left(until), line=False)))
        if len(taken) < count:
            raise ConnectionError(f"the message ended after {len(taken)} of {count} bytes")
        return taken

    def receive_codes(self, count: int, until: float) -> NDArray[np.int16]:
        """Return the next `count` little-endian 16 bit codes, received straight into their array."""
        codes = np.empty(count, dtype="<i2")
        if count:
            _told(lambda: self._stream.read_into(codes.data.cast("B"), self._left(until)))
        return codes

    def _left(self, until: float) -> float:
        left = until - self._monotonic()
        if left <= 0:
            raise TimeoutError("the deadline has passed")
        return left


class DirectStream:
    """A raw socket or HiSLIP, over the station's own session inside pyvisa-py."""

    def __init__(self, resource: MessageBasedResource, session: DeadlineSocketSession | DeadlineHislipSession) -> None:
        self._resource, self._session = resource, session

    def send(self, data: bytes, seconds: float) -> None:
        """Send all of `data`."""
        self._session.timeout = seconds
        _require(self._session.write(data)[1])

    def read(self, count: int, seconds: float, *, line: bool) -> bytes:
        """Return `count` bytes; fewer at the end of a `line` or of a message."""
        self._session.timeout = seconds
        self._session.attrs[ResourceAttribute.termchar_enabled] = line
        data, status = self._session.read(count)
        _require(status)
        return data

    def read_into(self, memory: memoryview, seconds: float) -> None:
        """Fill `memory`."""
        self._session.timeout = seconds
        self._session.read_into(memory)

    def stale(self) -> bool:
        """Return whether bytes wait that nobody asked for."""
        return self._session.stale()

    def shut(self) -> None:
        """End a transfer under way."""
        self._session.shut()

    def close(self) -> None:
        """Close the connection."""
        self._resource.close()


class PortableStream:
    """Any other kind of resource, through pyvisa's programming interface alone."""

    def __init__(self, resource: MessageBasedResource) -> None:
        self._resource = resource
        self._is_serial = isinstance(resource, SerialInstrument)
        self._pending = bytearray()

    def send(self, data: bytes, seconds: float) -> None:
        """Send all of `data`."""
        self._pending.clear()
        self._allow(seconds)
        if self._resource.write_raw(data) != len(data):
            raise TimeoutError("not everything could be written")

    def read(self, count: int, seconds: float, *, line: bool) -> bytes:
        """Return `count` bytes; fewer at the end of a `line` or of a message."""
        if self._is_serial:
            return self._read_serial(count, seconds, line=line)
        if len(self._pending) < count:
            self._fill(count, seconds)
        end = self._pending.find(b"\n", 0, count) + 1 if line else 0
        taken = bytes(self._pending[:end or count])
        del self._pending[:len(taken)]
        return taken

    def read_into(self, memory: memoryview, seconds: float) -> None:
        """Fill `memory`; a copy is made, as VISA hands out bytes."""
        taken = self.read(len(memory), seconds, line=False)
        if len(taken) < len(memory):
            raise ConnectionError(f"the message ended after {len(taken)} of {len(memory)} bytes")
        memory[:] = taken

    def stale(self) -> bool:
        """Return whether bytes wait that nobody asked for, as far as this kind of connection can tell."""
        waiting = self._resource.bytes_in_buffer if isinstance(self._resource, SerialInstrument) else 0
        return bool(self._pending) or waiting > 0

    def shut(self) -> None:
        """Leave it to the deadline: VISA has no call that ends another thread's transfer safely."""

    def close(self) -> None:
        """Close the connection."""
        self._resource.close()

    def _fill(self, count: int, seconds: float) -> None:
        # Whole messages: many instruments lose the rest of one that is read in small bites.
        self._allow(seconds)
        while len(self._pending) < count:
            data, status = self._read(max(CHUNK, count))
            self._pending += data
            if status != StatusCode.success_max_count_read:
                return

    def _read_serial(self, count: int, seconds: float, *, line: bool) -> bytes:
        # A serial line knows no end of message but its termination character.
        end = SerialTermination.termination_char if line else SerialTermination.none
        self._resource.set_visa_attribute(ResourceAttribute.asrl_end_in, end)
        self._allow(seconds)
        return self._read(count)[0]

    def _read(self, count: int) -> tuple[bytes, StatusCode]:
        with self._resource.ignore_warning(StatusCode.success_max_count_read):    # no news: it is what was asked for
            data, status = self._resource.visalib.read(self._resource.session, count)
        return bytes(data), status

    def _allow(self, seconds: float) -> None:
        self._resource.timeout = max(1, int(seconds * 1000))


@cache
def _resource_manager() -> pyvisa.ResourceManager:
    # One per process: closing any manager would invalidate the sessions of all.
    return pyvisa.ResourceManager("@py")


def _open_stream(resource: str, seconds: float, baud: int) -> Stream:
    opened = _resource_manager().open_resource(resource, open_timeout=max(1, int(seconds * 1000)))
    if not isinstance(opened, MessageBasedResource):
        opened.close()
        raise ConnectionError(f"{resource} exchanges no messages")
    if isinstance(opened, SerialInstrument):
        opened.baud_rate = baud
        opened.set_visa_attribute(ResourceAttribute.suppress_end_enabled, False)
    session = cast(Any, opened.visalib).sessions[opened.session]
    return DirectStream(opened, session) if isinstance(session, DIRECT) else PortableStream(opened)


def _require(status: StatusCode) -> None:
    if status == StatusCode.error_timeout:
        raise TimeoutError("the deadline has passed")
    if status < 0:
        raise ConnectionError(f"the connection broke ({status.name})")


def _told(transfer: Callable[[], object]) -> object:
    """Return what `transfer` does; whatever VISA raises comes out as TimeoutError or ConnectionError."""
    try:
        return transfer()
    except (TimeoutError, ConnectionError):
        raise
    except pyvisa.VisaIOError as error:
        _require(StatusCode(error.error_code))
        raise ConnectionError(str(error)) from error
    except Exception as error:  # RuntimeError, AssertionError, struct.error: a backend out of step
        raise ConnectionError(f"the connection is out of step ({error or type(error).__name__})") from error
