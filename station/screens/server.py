"""The servers of the pages, as they are set up everywhere."""

from collections.abc import Sequence

import uvicorn
from starlette.types import ASGIApp

from station.listener import Listener, server_of, tls_server_of
from station.screens.site import Site

HOST = "127.0.0.1"
MOST_OF_PLANT = 64  # connections from other computers at once; the panel has no part in them


def make_server(site: Site, port: int) -> uvicorn.Server:
    """Return a server of `site` on this computer alone, to be run."""
    return server_of(_app(site), host=HOST, port=port)


def make_plant_server(site: Site, plant: Listener) -> uvicorn.Server:
    """Return a server of `site` for other computers, under their names and over TLS, to be run on a socket."""
    return tls_server_of(_app(site, plant.names), plant, limit_concurrency=MOST_OF_PLANT)


def _app(site: Site, beyond: Sequence[str] = ()) -> ASGIApp:
    """Return the pages for this computer, or for others that ask for them under the names `beyond`."""
    from station.screens.app import build_app  # noqa: PLC0415 - with the libraries of studies, which only pages need

    return build_app(site, beyond, at_panel=False) if beyond else build_app(site)
