"""The servers of the pages, as they are set up everywhere."""

import uvicorn

from station.listener import Listener, server_of, tls_server_of
from station.screens.app import build_app
from station.screens.site import Site

HOST = "127.0.0.1"
MOST_OF_PLANT = 64  # connections from other computers at once; the panel has no part in them


def make_server(site: Site, port: int) -> uvicorn.Server:
    """Return a server of `site` on this computer alone, to be run."""
    return server_of(build_app(site), host=HOST, port=port)


def make_plant_server(site: Site, plant: Listener) -> uvicorn.Server:
    """Return a server of `site` for other computers, under their names and over TLS, to be run on a socket."""
    return tls_server_of(build_app(site, plant.names, at_panel=False), plant, limit_concurrency=MOST_OF_PLANT)
