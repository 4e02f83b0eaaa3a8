"""The address of the plant's server: what the URL in a station file says."""

import ipaddress
from dataclasses import dataclass
from urllib.parse import urlsplit

PORTS = {"http": 80, "https": 443}      # Source: RFC 9110, sections 4.2.1 and 4.2.2
WANTED = 'an address such as "https://plant.example:8490"; http only for this computer itself, such as 127.0.0.1'


@dataclass(frozen=True, slots=True)
class PlantAddress:
    """Where a plant's server is: `url` as written without a slash at its end, and its parts."""

    url: str
    host: str
    port: int
    path: str       # before that of every request; empty or from its slash on
    is_secure: bool

    @property
    def authority(self) -> str:
        """Host and port as a request names them. Source: RFC 9110, section 7.2."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == PORTS["https" if self.is_secure else "http"] else f"{host}:{self.port}"


def parse_plant_url(url: str) -> PlantAddress:
    """Return the address in an https URL, or in an http one of this computer; ValueError says what belongs there."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise ValueError(WANTED) from error
    printable = url.isascii() and url.isprintable() and " " not in url
    if (not printable or parts.scheme not in PORTS or not parts.hostname or parts.username is not None or parts.query
            or parts.fragment or (parts.scheme == "http" and not _is_here(parts.hostname))):
        raise ValueError(WANTED)
    return PlantAddress(url.rstrip("/"), parts.hostname, port or PORTS[parts.scheme], parts.path.rstrip("/"),
                        parts.scheme == "https")


def _is_here(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
