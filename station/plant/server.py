"""The plant's server: requests from the wire to `asked`, answers back, at most so much at once."""

import asyncio
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.types import Receive, Scope, Send

from station.clock import Clock
from station.errors import StationError, UsageError
from station.listener import load_listener, server_of, tls_server_of
from station.plant.archive import open_archive
from station.plant.asked import MOST_SENT, Desk
from station.plant.database import open_database
from station.plant.file_intake import FileIntake
from station.plant.intake import Intake
from station.plant.message_signature import Message
from station.plant.plant_file import Plant
from station.plant.refused import AwayError, PlantError, TooLargeError
from station.plant.upgrade import require_current
from station.record.cosignature import WitnessKey

MOST_AT_ONCE = 64       # connections; those beyond are told to come again
LONGEST = 120.0         # s that a request may take to arrive
OWN_COMPUTER = {"127.0.0.1", "::1", "localhost"}

_log = logging.getLogger(__name__)


@contextmanager
def opened_desk(plant: Plant, clock: Clock) -> Iterator[Desk]:
    """Open what a plant file names, and close it again.

    Raises
    ------
    UsageError
        The tables are not up to date, there is no key, or the archive cannot be spoken to.
    StationError
        The database does not answer.
    """
    database = open_database(plant.database)
    try:
        require_current(database)
        witness = WitnessKey.load(plant.keys)
        yield Desk(database, Intake(database, witness), FileIntake(database, open_archive(plant.archive)), clock)
    finally:
        database.close()


def make_server(desk: Desk, plant: Plant, clock: Clock) -> uvicorn.Server:
    """Return the server of a plant, to be run on a socket; UsageError as `load_listener`, or where TLS is missing."""
    app = _App(desk)
    if plant.certificate is not None and plant.key is not None:
        listener = load_listener(plant.host, plant.port, plant.certificate, plant.key, clock)
        return tls_server_of(app, listener, limit_concurrency=MOST_AT_ONCE)
    if plant.host not in OWN_COMPUTER:
        raise UsageError("stations on other computers are served over TLS alone", where=str(plant.file),
                         expected="certificate and key in [server]", got=f'host = "{plant.host}" without them',
                         remedy="Have the plant's authority issue a certificate for the name of this computer.")
    return server_of(app, limit_concurrency=MOST_AT_ONCE)


class _App:
    """The server as ASGI calls it; addresses are looked at as they were sent, since names of logs may hold slashes."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            response = await _answer(self._desk, Request(scope, receive))
            await response(scope, receive, send)


async def _answer(desk: Desk, request: Request) -> Response:
    try:
        async with asyncio.timeout(LONGEST):
            message = _message(request)
            asked = await run_in_threadpool(desk.admit, message)
            content = await _content(request)
        status, told = await run_in_threadpool(desk.answer, asked, content)
    except PlantError as error:
        return _refusal(error.status, error.as_json())
    except TimeoutError:
        late = AwayError("the request did not arrive in time", where=str(request.url.path)[:200],
                         expected=f"within {LONGEST:g} s", got="a part of it", remedy="Send it again.")
        return _refusal(408, late.as_json())
    except ClientDisconnect:
        return Response(status_code=400)    # nobody is there to read it
    except StationError as error:
        _log.error("plant error=%s", error)
        return _refusal(500, PlantError(error.what, where=error.where, expected=error.expected, got=error.got,
                                        remedy=error.remedy).as_json())
    return JSONResponse(told, status)


def _message(request: Request) -> Message:
    """Return what of a request can be signed, as it was sent."""
    fields: dict[str, str] = {}
    for name, value in request.headers.items():
        fields[name] = f"{fields[name]}, {value}" if name in fields else value
    path = request.scope.get("raw_path", b"").decode("ascii", "replace")
    if request.scope.get("query_string"):
        path += "?"     # which no address has
    return Message(request.method, fields.get("host", ""), path, fields)


async def _content(request: Request) -> bytes:
    """Return what was sent, up to what is taken at once."""
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > MOST_SENT:
            raise TooLargeError("more than is taken at once", where=str(request.url.path)[:200],
                                expected=f"at most {MOST_SENT} bytes", got="more", remedy="Send less at once.")
        parts.append(part)
    return b"".join(parts)


def _refusal(status: int, told: Any) -> Response:  # noqa: ANN401 - JSON
    # What is left of the request is not read any more, so that the connection cannot be used again.
    return JSONResponse(told, status, {"connection": "close"})
