"""IPP over HTTP and HTTPS: one request, one answer, one deadline for both."""

import ssl
from collections.abc import Callable
from http.client import HTTPException
from pathlib import Path

from station.certificate.printer_address import PrinterAddress
from station.errors import PrinterError, UnreachableError
from station.timed_http import LARGEST, Answer, Exchange, words_of

MEDIA_TYPE = "application/ipp"     # the longest answers seen are below 32 KiB


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
        opened = Exchange(address.host, address.port, monotonic, until, _context(address, trust))
    except (OSError, ValueError) as error:      # ValueError: a host that cannot be one
        raise UnreachableError("printer cannot be reached", where=address.uri, expected="a connection",
                               got=words_of(error), remedy=_remedy(error)) from error
    with opened:
        try:
            answer = opened.ask("POST", address.path, request, {"Content-Type": MEDIA_TYPE})
        except (OSError, HTTPException) as error:
            raise PrinterError("printer gave no answer", where=address.uri, expected="an answer within the deadline",
                               got=words_of(error), remedy="Look whether it is on and not in an error.") from error
    return _octets(answer, address)


def _context(address: PrinterAddress, trust: Path | None) -> ssl.SSLContext | None:
    return ssl.create_default_context(cafile=None if trust is None else str(trust)) if address.is_secure else None


def _octets(answer: Answer, address: PrinterAddress) -> bytes:
    if answer.status != 200 or answer.kind != MEDIA_TYPE:
        raise PrinterError("no answer over IPP", where=address.uri, expected=f"status 200 with {MEDIA_TYPE}",
                           got=f"status {answer.status} {answer.reason} with {answer.kind}",
                           remedy="See that the address in the station file is that of an IPP printer, and that "
                           "it asks for no password.")
    if len(answer.content) > LARGEST:
        raise PrinterError("answer is too long", where=address.uri, expected=f"at most {LARGEST} octets",
                           got="more", remedy="See that the address in the station file is that of a printer.")
    return answer.content


def _remedy(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return "Give the printer's certificate as `trust` under [printer] of the station file, if it is the right one."
    return "See that the printer is on and its network cable in, and that the address in the station file is its."
