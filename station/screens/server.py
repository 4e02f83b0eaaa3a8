"""The server of the pages, as it is set up everywhere: quiet, nameless, and gone soon after it is told to."""

import uvicorn

from station.screens.app import build_app
from station.screens.site import Site

HOST = "127.0.0.1"
PATIENCE = 2        # s that open streams get at the end


def make_server(site: Site, port: int) -> uvicorn.Server:
    """Return a server of `site` on this computer alone, to be run; it never logs what was asked: badges are."""
    return uvicorn.Server(uvicorn.Config(build_app(site), host=HOST, port=port, log_level="warning", access_log=False,
                                         server_header=False, timeout_graceful_shutdown=PATIENCE))
