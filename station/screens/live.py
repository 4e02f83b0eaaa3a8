"""The stream that keeps a page true: the line's state whenever it changes, and a beat while it does not."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from station.screens.access import Duty, may
from station.screens.ask import Ask
from station.screens.guarding import signed_in
from station.screens.operator import shown
from station.screens.site import Site

LOOK, BEAT = 0.05, 0.5      # s; a page that hears no beat for two seconds covers itself
SAVED_BEATS = 60            # after so many, who is signed in is asked again


def live(site: Site) -> Callable[[Request], Awaitable[Response]]:
    """Return the endpoint of the stream: server-sent events (WHATWG HTML, section 9.2) of the operator's page."""
    async def endpoint(request: Request) -> Response:
        person = await run_in_threadpool(signed_in, site, request)
        if site.line is None or person is None or not may(person.roles, Duty.TEST):
            return Response(status_code=403)
        return StreamingResponse(_events(Ask(request, site, person)), media_type="text/event-stream",
                                 headers={"X-Accel-Buffering": "no"})

    return endpoint


async def _events(ask: Ask) -> AsyncIterator[str]:
    assert ask.site.line is not None  # noqa: S101 - told before
    yield "retry: 500\n\n"
    told, quiet, beats = -1, 0.0, 0
    while True:
        state = ask.site.line.state
        if state.number != told:
            told, quiet = state.number, 0.0
            yield _event("state", await run_in_threadpool(shown, ask, state))
        elif quiet >= BEAT:
            quiet, beats = 0.0, beats + 1
            if beats % SAVED_BEATS == 0 and not await run_in_threadpool(signed_in, ask.site, ask.request):
                yield _event("over", "")
                return
            yield _event("beat", str(told))
        await asyncio.sleep(LOOK)
        quiet += LOOK


def _event(name: str, content: str) -> str:
    lines = "\n".join(f"data: {line}" for line in content.split("\n"))
    return f"event: {name}\n{lines}\n\n"
