"""The servers of the pages, as they are set up everywhere: quiet, nameless, and gone soon after they are told to."""

import socket
import ssl
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from station.errors import UsageError
from station.screens.app import build_app
from station.screens.site import Site

HOST = "127.0.0.1"
PATIENCE = 2        # s that open streams get at the end
MOST_OF_PLANT = 64  # connections from other computers at once; the panel has no part in them


def make_server(site: Site, port: int) -> uvicorn.Server:
    """Return a server of `site` on this computer alone, to be run."""
    return uvicorn.Server(_config(build_app(site), host=HOST, port=port))


def make_plant_server(site: Site, names: Sequence[str], certificate: Path, key: Path) -> uvicorn.Server:
    """Return a server of `site` for other computers, under `names` and over TLS 1.2 or later, to be run on a socket."""
    config = _config(build_app(site, names, at_panel=False), ssl_certfile=certificate, ssl_keyfile=key,
                     limit_concurrency=MOST_OF_PLANT)
    config.load()
    assert config.ssl is not None  # noqa: S101 - a certificate was given
    config.ssl.minimum_version = ssl.TLSVersion.TLSv1_2
    return uvicorn.Server(config)


@contextmanager
def running(server: uvicorn.Server, listening: socket.socket) -> Iterator[uvicorn.Server]:
    """Run a server at a socket that listens already, in a thread of its own, for as long as this is entered."""
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, name="pages")
    thread.start()
    try:
        yield server
    finally:
        server.should_exit = True
        thread.join()


def bound(host: str, port: int) -> socket.socket:
    """Return a socket at an address of this computer; UsageError if it cannot be had."""
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        return socket.create_server((host, port), family=family)
    except OSError as error:
        raise UsageError("the address cannot be had", where=f"{host}:{port}", expected="a free port of this computer",
                         got=str(error.strerror or error), remedy="Give another, or end what uses it.") from error


def _config(app: Any, **given: Any) -> uvicorn.Config:  # noqa: ANN401 - as uvicorn takes them
    """Return what holds for every server.

    What was asked is never logged, as badges are; nobody in between is believed about where a request came from.
    """
    return uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, proxy_headers=False,
                          http="h11", ws="none", lifespan="off", timeout_graceful_shutdown=PATIENCE, **given)
