"""Styles, scripts and fonts: shipped with the package, served under the hash of what they hold."""

from functools import cache
from hashlib import sha256
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, Response

FOLDER = Path(__file__).with_name("assets")
KINDS = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
         ".woff2": "font/woff2", ".ttf": "font/ttf", ".png": "image/png", ".txt": "text/plain; charset=utf-8"}


def address_of(name: str) -> str:
    """Return the address of an asset; it changes with its content, so that browsers may keep it for ever."""
    return f"/assets/{_mark(name)}/{name}"


async def serve(request: Request) -> Response:
    """Answer with an asset; anything that is none, or has another hash, is not found."""
    name, mark = request.path_params["name"], request.path_params["mark"]
    if name not in _names() or mark != _mark(name):
        return Response(status_code=404)
    path = FOLDER / name
    return FileResponse(path, media_type=KINDS[path.suffix], headers={"Cache-Control": "max-age=31536000, immutable"})


@cache
def _names() -> frozenset[str]:
    return frozenset(path.name for path in FOLDER.iterdir() if path.suffix in KINDS)


@cache
def _mark(name: str) -> str:
    return sha256((FOLDER / name).read_bytes()).hexdigest()[:16]
