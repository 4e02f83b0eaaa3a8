"""The pages for other computers of the plant: over TLS alone, behind a sign-in, and nothing that moves a shaft.

A second server in a thread of its own, with threads of its own for its handlers: however many ask from the plant, the
panel of the station answers.
"""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from station.clock import Clock
from station.errors import UsageError
from station.listener import Listener, bound, load_listener, running
from station.screens.server import make_plant_server
from station.screens.site import Site

WHERE = "station serve --plant"


def load_plant(address: str, certificate: Path | None, key: Path | None, clock: Clock) -> Listener:
    """Return where other computers are served, as `HOST:PORT` and the files of a certificate say.

    Raises
    ------
    UsageError
        One of the three is missing, the address is none, or as `load_listener`.
    """
    if not address or certificate is None or key is None:
        raise UsageError("other computers are served over TLS alone", where=WHERE,
                         expected="--plant, --certificate and --key together",
                         got=", ".join(name for name, given in (("--plant", address), ("--certificate", certificate),
                                                                ("--key", key)) if given),
                         remedy="Have the plant's authority issue a certificate for the name of this computer.")
    host, port = _parted(address)
    return load_listener(host, port, certificate, key, clock)


@contextmanager
def served_to_plant(site: Site, plant: Listener) -> Iterator[None]:
    """Serve `site` to other computers meanwhile; UsageError where the address cannot be had."""
    with closing(bound(plant.host, plant.port)) as socket, running(make_plant_server(site, plant), socket):
        yield


def _parted(address: str) -> tuple[str, int]:
    host, _, port = address.rpartition(":")
    if not host or not port.isdecimal() or not 1 <= int(port) <= 65535:
        raise UsageError("that is no address to serve at", where=WHERE, expected="HOST:PORT, such as 0.0.0.0:8443",
                         got=repr(address), remedy="Give name or number of this computer, and a port.")
    return host.removeprefix("[").removesuffix("]").lower(), int(port)
