"""Where a server of the station or of the plant listens, what proves it to those who ask, and how it behaves.

Quiet, nameless, gone soon after it is told to; and beyond the computer itself over TLS alone.
"""

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from cryptography import x509

from station.clock import Clock
from station.errors import UsageError

EVERYWHERE = ("0.0.0.0", "::")      # noqa: S104 - what is compared with, and given on purpose only
PATIENCE = 2        # s that open streams get at the end


@dataclass(frozen=True, slots=True)
class Listener:
    """An address for other computers, the names by which they may ask, and the certificate that proves it to them."""

    host: str
    port: int
    certificate: Path
    key: Path
    names: tuple[str, ...]

    @property
    def addresses(self) -> list[str]:
        """What people type, one for each name."""
        return [f"https://{name}:{self.port}/" for name in self.names]


def load_listener(host: str, port: int, certificate: Path, key: Path, clock: Clock) -> Listener:
    """Return the listener at an address, as the PEM files of its certificate and key allow.

    Raises
    ------
    UsageError
        Certificate and key cannot be read, do not belong together, are out of their time, or name another host; or
        everybody can read the key.
    """
    _require_pair(certificate, key)
    names = _names(_shown(certificate, clock))
    if not names or (host not in EVERYWHERE and host not in names):
        raise UsageError("the certificate is for another host", where=str(certificate), expected=host,
                         got=", ".join(names) or "no name at all",
                         remedy="Have it issued with the name that people type, as a subject alternative name.")
    return Listener(host, port, certificate, key, names)


def bound(host: str, port: int) -> socket.socket:
    """Return a socket at an address of this computer; UsageError if it cannot be had."""
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        return socket.create_server((host, port), family=family)
    except OSError as error:
        raise UsageError("the address cannot be had", where=f"{host}:{port}", expected="a free port of this computer",
                         got=str(error.strerror or error), remedy="Give another, or end what uses it.") from error


@contextmanager
def running(server: uvicorn.Server, listening: socket.socket) -> Iterator[uvicorn.Server]:
    """Run a server at a socket that listens already, in a thread of its own, for as long as this is entered."""
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, name="server")
    thread.start()
    try:
        yield server
    finally:
        server.should_exit = True
        thread.join()


def server_of(app: Any, **given: Any) -> uvicorn.Server:  # noqa: ANN401 - as uvicorn takes them
    """Return a server, to be run on a socket.

    What was asked is never logged, as badges are; nobody in between is believed about where a request came from.
    """
    return uvicorn.Server(uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, proxy_headers=False, http="h11", ws="none",
        lifespan="off", timeout_graceful_shutdown=PATIENCE, **given))


def tls_server_of(app: Any, listener: Listener, **given: Any) -> uvicorn.Server:  # noqa: ANN401 - as uvicorn takes them
    """Return a server that speaks TLS 1.2 or later alone, to be run on a socket."""
    server = server_of(app, ssl_certfile=listener.certificate, ssl_keyfile=listener.key, **given)
    server.config.load()
    assert server.config.ssl is not None  # noqa: S101 - a certificate was given
    server.config.ssl.minimum_version = ssl.TLSVersion.TLSv1_2
    return server


def _require_pair(certificate: Path, key: Path) -> None:
    try:
        if key.stat().st_mode & 0o007:
            raise UsageError("everybody on this computer can read the key", where=str(key),
                             expected="mode 0600 or 0640",
                             got=f"{key.stat().st_mode & 0o777:04o}", remedy="Take the right away: chmod o= FILE.")
        # An empty password, so that a key that has one is refused and never asked about.
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, lambda: b"")
    except OSError as error:        # of which every ssl.SSLError is one
        raise UsageError("certificate and key cannot be used", where=f"{certificate}, {key}",
                         expected="PEM files that belong together, the key without a password",
                         got=str(error.strerror or error.args[0] if error.args else error),
                         remedy="Give the certificate, with those between it and its root behind it, and its own key."
                         ) from error


def _shown(path: Path, clock: Clock) -> x509.Certificate:
    try:
        first = x509.load_pem_x509_certificates(path.read_bytes())[0]
    except (OSError, ValueError) as error:
        raise UsageError("certificate cannot be read", where=str(path), expected="PEM", got=str(error),
                         remedy="Give the file that the plant's authority issued.") from error
    if not first.not_valid_before_utc <= clock.utc() <= first.not_valid_after_utc:
        raise UsageError("the certificate is out of its time", where=str(path),
                         expected="a valid one, and a right clock",
                         got=f"valid from {first.not_valid_before_utc:%F} to {first.not_valid_after_utc:%F}",
                         remedy="Have a new one issued, or set the clock.")
    return first


def _names(certificate: x509.Certificate) -> tuple[str, ...]:
    """Return the hosts that a certificate is for, never by its common name (RFC 9110 section 4.3.4, from memory)."""
    try:
        named = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return ()
    hosts = [name.lower() for name in named.get_values_for_type(x509.DNSName)]
    return (*hosts, *(str(address) for address in named.get_values_for_type(x509.IPAddress)))
