"""The one way in: every page is reached through here, and nobody past here who may not."""

import sys
import traceback
from collections.abc import Awaitable, Callable, Mapping
from http import HTTPStatus
from secrets import token_hex
from urllib.parse import parse_qsl, quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from station.errors import EvidenceError, NotAllowedError, StationError, UsageError
from station.screens.access import may
from station.screens.ask import COOKIE, Ask, Page
from station.screens.attempts import PatienceError
from station.screens.pages import trouble_page
from station.screens.people import Person
from station.screens.site import Site
from station.screens.trail import plain

MOST_FIELDS = 500
STATUS = ((PatienceError, 429), (NotAllowedError, 403), (UsageError, 400), (EvidenceError, 410))

Endpoint = Callable[[Request], Awaitable[Response]]
Unanswered = Callable[[Request, Exception], Awaitable[Response]]


def guarded(site: Site, page: Page) -> Endpoint:
    """Return the endpoint of `page`: session, duty, origin and size are checked before its handler runs.

    Handlers run in threads, so that none holds up another, and a running test least of all.
    """
    async def endpoint(request: Request) -> Response:
        person = await run_in_threadpool(signed_in, site, request)
        ask = Ask(request, site, person)
        try:
            _require_duty(ask, page)
            if page.post:
                _require_origin(request)
                ask = Ask(request, site, person, await _form(request, page.most_octets))
            return await run_in_threadpool(page.handler, ask)
        except StationError as error:
            return await run_in_threadpool(_told, ask, error)
        except HTTPException:
            raise
        except Exception as error:      # nobody is shown what is inside, and the next page works
            return await run_in_threadpool(_broken, ask, error)

    return endpoint


def signed_in(site: Site, request: Request) -> Person | None:
    """Return who is signed in where the request comes from, or None."""
    return site.sessions.who(request.cookies.get(cookie_name(request), ""))


def cookie_name(request: Request) -> str:
    """Return the name of the session's cookie; over TLS the prefix binds it to this host (RFC 6265bis 4.1.3)."""
    return f"__Host-{COOKIE}" if request.url.scheme == "https" else COOKIE


def _require_duty(ask: Ask, page: Page) -> None:
    if may(ask.person.roles if ask.person else (), page.duty):
        return
    if ask.person is None:
        here = ask.request.url.path
        raise HTTPException(303 if not page.post else 401,
                            headers={"Location": f"/sign-in?then={quote(here)}"} if not page.post else None)
    ask.site.trail.add(ask.name, "refused", where=ask.where, about=ask.request.url.path, good=False)
    raise NotAllowedError("this is not among your duties", where=ask.request.url.path,
                          expected=f"somebody to {page.duty}", got=", ".join(sorted(ask.person.roles)),
                          remedy="Ask somebody who may, or sign in as one.")


def _require_origin(request: Request) -> None:
    """Raise NotAllowedError unless a page of ours sent this: no other site may act through a person's browser.

    Source: ASVS 5.0 3.5.1 to 3.5.3; an absent Origin is refused, since browsers send it with every POST.
    """
    origin, own = request.headers.get("origin"), f"{request.url.scheme}://{request.url.netloc}"
    site = request.headers.get("sec-fetch-site", "same-origin")
    if origin != own or site != "same-origin":
        raise NotAllowedError("this did not come from a page of the station", where=request.url.path, expected=own,
                              got=repr(origin), remedy="Open the station's own page and do it there.")


async def _form(request: Request, most_octets: int) -> Mapping[str, str]:
    """Return the fields of a form; UsageError where it is too long or none."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > most_octets:
            raise UsageError("that is too much", where=request.url.path, expected=f"at most {most_octets} octets",
                             got="more", remedy="Send less.")
    try:
        return dict(parse_qsl(body.decode("ascii"), keep_blank_values=True, errors="strict",
                              max_num_fields=MOST_FIELDS))
    except ValueError as error:     # of which a wrong character is one
        raise UsageError("that is no form", where=request.url.path, expected="fields as browsers send them",
                         got=str(error)[:200], remedy="Use the station's own page.") from error


def _told(ask: Ask, error: StationError) -> Response:
    """Return the page that says what went wrong, and what to do."""
    status = next((status for kind, status in STATUS if isinstance(error, kind)), 503)
    if status == 503:
        sys.stderr.write(f"{plain(ask.request.url.path)}: {plain(str(error))}\n")
    return trouble_page(ask, status, error)


def _broken(ask: Ask, error: Exception) -> Response:
    """Return the page for a fault of the program: a reference, by which what happened is found in what it printed."""
    reference = token_hex(4)
    sys.stderr.write(f"{reference} {plain(ask.request.url.path)}\n{''.join(traceback.format_exception(error))}")
    return trouble_page(ask, 500, StationError("the program made a mistake", where=plain(ask.request.url.path),
                                               expected="a page", got=f"none, reference {reference}",
                                               remedy="Nothing is lost. Tell whoever looks after the station this "
                                               "reference."))


def unanswered(site: Site) -> Unanswered:
    """Return what answers where no page does, as a whole page in the language of whoever asks."""
    async def endpoint(request: Request, error: Exception) -> Response:
        status, headers = (error.status_code, error.headers) if isinstance(error, HTTPException) else (500, None)
        if status < 400:
            return Response(status_code=status, headers=headers)
        person = await run_in_threadpool(signed_in, site, request)
        answer = await run_in_threadpool(trouble_page, Ask(request, site, person), status, _no_answer(request, status))
        answer.headers.update(headers or {})
        return answer

    return endpoint


def _no_answer(request: Request, status: int) -> StationError:
    """Return what is to be said of a request that no page answered."""
    return StationError(HTTPStatus(status).phrase.lower(), where=plain(request.url.path),
                        expected="an address of the station's pages, used as its page does", got=request.method,
                        remedy="Begin at the first page.")


def to(address: str) -> Response:
    """Return the way to another page after something was done."""
    return RedirectResponse(address, status_code=303)
