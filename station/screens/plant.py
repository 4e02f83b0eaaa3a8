"""The pages for other computers of the plant: over TLS alone, behind a sign-in, and nothing that moves a shaft.

A second server in a thread of its own, with threads of its own for its handlers: however many ask from the plant, the
panel of the station answers.
"""

import ssl
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509

from station.clock import Clock
from station.errors import UsageError
from station.screens.server import bound, make_plant_server, running
from station.screens.site import Site

EVERYWHERE = ("0.0.0.0", "::")      # noqa: S104 - what is compared with, and given on purpose only
WHERE = "station serve --plant"


@dataclass(frozen=True, slots=True)
class Plant:
    """Where other computers ask, the names by which they may, and the certificate that proves it to them."""

    host: str
    port: int
    certificate: Path
    key: Path
    names: tuple[str, ...]

    @property
    def addresses(self) -> list[str]:
        """What people type, one for each name."""
        return [f"https://{name}:{self.port}/" for name in self.names]


def load_plant(address: str, certificate: Path | None, key: Path | None, clock: Clock) -> Plant:
    """Return where other computers are served, as `HOST:PORT` and the files of a certificate say.

    Raises
    ------
    UsageError
        One of the three is missing; the address is none; certificate and key cannot be read, do not belong together,
        are out of their time, or name another host; or everybody can read the key.
    """
    if not address or certificate is None or key is None:
        raise UsageError("other computers are served over TLS alone", where=WHERE,
                         expected="--plant, --certificate and --key together",
                         got=", ".join(name for name, given in (("--plant", address), ("--certificate", certificate),
                                                                ("--key", key)) if given),
                         remedy="Have the plant's authority issue a certificate for the name of this computer.")
    host, port = _parted(address)
    _require_pair(certificate, key)
    shown = _shown(certificate, clock)
    names = _names(shown)
    if not names or (host not in EVERYWHERE and host not in names):
        raise UsageError("the certificate is for another host", where=str(certificate), expected=host,
                         got=", ".join(names) or "no name at all",
                         remedy="Have it issued with the name that people type, as a subject alternative name.")
    return Plant(host, port, certificate, key, names)


@contextmanager
def served_to_plant(site: Site, plant: Plant) -> Iterator[None]:
    """Serve `site` to other computers meanwhile; UsageError where the address cannot be had."""
    with closing(bound(plant.host, plant.port)) as socket, running(
            make_plant_server(site, plant.names, plant.certificate, plant.key), socket):
        yield


def _parted(address: str) -> tuple[str, int]:
    host, _, port = address.rpartition(":")
    if not host or not port.isdecimal() or not 1 <= int(port) <= 65535:
        raise UsageError("that is no address to serve at", where=WHERE, expected="HOST:PORT, such as 0.0.0.0:8443",
                         got=repr(address), remedy="Give name or number of this computer, and a port.")
    return host.removeprefix("[").removesuffix("]").lower(), int(port)


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
