"""The address of a printer: what an ipp or ipps URI says."""

from dataclasses import dataclass
from urllib.parse import urlsplit

PORT = 631              # Source: RFC 8010, section 4.1


@dataclass(frozen=True, slots=True)
class PrinterAddress:
    """Where a printer is: `uri` as written, and its parts."""

    uri: str
    host: str
    port: int
    path: str
    is_secure: bool


def parse_printer_uri(uri: str) -> PrinterAddress:
    """Return the address in an `ipp://` or `ipps://` URI; ValueError says what belongs there.

    Source: RFC 8011, section 5.4.1 and RFC 7472 for ipps: port 631 unless given.
    """
    wanted = 'a URI such as "ipp://192.0.2.9:631/ipp/print", or with ipps:'
    try:
        parts = urlsplit(uri)
        port = parts.port
    except ValueError as error:
        raise ValueError(wanted) from error
    printable = uri.isascii() and uri.isprintable() and " " not in uri
    if not printable or parts.scheme not in ("ipp", "ipps") or not parts.hostname or parts.username is not None:
        raise ValueError(wanted)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return PrinterAddress(uri, parts.hostname, port or PORT, path, parts.scheme == "ipps")
