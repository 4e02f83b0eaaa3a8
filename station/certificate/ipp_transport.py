"""IPP over HTTP and HTTPS: one request, one answer, one deadline for both."""

import io
import socket
import ssl
from collections.abc import Callable
from contextlib import suppress
from http.client import HTTPConnection, HTTPException, HTTPResponse
from pathlib import Path

from station.certificate.printer_address import PrinterAddress
from station.errors import PrinterError, UnreachableError

MEDIA_TYPE = "application/ipp"
LARGEST = 1 << 20       # octets of an answer; the longest seen are below 32 KiB


def post(address: PrinterAddress, request: bytes, monotonic: Callable[[], float], until: float,
         trust: Path | None = None) -> bytes:
    """Send `request` and return the octets of the answer, both before `until` on the monotonic clock.

    `trust`: a PEM file of the certificates that an `ipps` printer may show, instead of those of the operating system.

    Raises
    ------
    UnreachableError
        Nothing was sent: no connection, or another certificate than trusted.
    PrinterError
        The deadline passed, the connection broke, or the answer is no IPP; the printer may have the request.
    """
    try:
        timed = _connect(address, monotonic, until, trust)
    except (OSError, ValueError) as error:      # ValueError: a host that cannot be one
        raise UnreachableError("printer cannot be reached", where=address.uri, expected="a connection",
                               got=_words(error), remedy=_remedy(error)) from error
    connection = HTTPConnection(address.host, address.port)
    connection.sock = timed     # it has what http.client asks of a socket
    try:
        with suppress(ConnectionError):     # a printer may say no, and close, before it has read the document
            connection.request("POST", address.path, request, {"Content-Type": MEDIA_TYPE, "Connection": "close"})
        return _answer(connection.getresponse(), address)
    except (OSError, HTTPException) as error:
        raise PrinterError("printer gave no answer", where=address.uri, expected="an answer within the deadline",
                           got=_words(error), remedy="Look whether it is on and not in an error.") from error
    finally:
        connection.close()
        timed.hang_up()


def _connect(address: PrinterAddress, monotonic: Callable[[], float], until: float, trust: Path | None
             ) -> "_TimedSocket":
    plain = socket.create_connection((address.host, address.port), max(until - monotonic(), 0.01))
    try:
        plain.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if not address.is_secure:
            return _TimedSocket(plain, monotonic, until)
        plain.settimeout(max(until - monotonic(), 0.01))
        context = ssl.create_default_context(cafile=None if trust is None else str(trust))
        return _TimedSocket(context.wrap_socket(plain, server_hostname=address.host), monotonic, until)
    except BaseException:
        plain.close()
        raise


def _answer(response: HTTPResponse, address: PrinterAddress) -> bytes:
    kind = (response.getheader("Content-Type") or "nothing").partition(";")[0].strip().lower()
    content = response.read(LARGEST + 1)
    if response.status != 200 or kind != MEDIA_TYPE:
        raise PrinterError("no answer over IPP", where=address.uri, expected=f"status 200 with {MEDIA_TYPE}",
                           got=f"status {response.status} {response.reason} with {kind}",
                           remedy="See that the address in the station file is that of an IPP printer, and that "
                           "it asks for no password.")
    if len(content) > LARGEST:
        raise PrinterError("answer is too long", where=address.uri, expected=f"at most {LARGEST} octets",
                           got="more", remedy="See that the address in the station file is that of a printer.")
    return content


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


def _words(error: Exception) -> str:
    if isinstance(error, TimeoutError):
        return "silence"
    return str(getattr(error, "strerror", None) or error) or type(error).__name__


def _remedy(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return "Give the printer's certificate as `trust` under [printer] of the station file, if it is the right one."
    return "See that the printer is on and its network cable in, and that the address in the station file is its."
