"""The pages of a station as one application: every address in one table, and what holds for all of them."""

from collections.abc import Sequence

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from station.screens import (
    assets,
    bench_page,
    compare_page,
    drift_page,
    evidence_audit,
    evidence_files,
    evidence_find,
    evidence_page,
    evidence_recall,
    files_page,
    gauge_page,
    leave,
    limits_page,
    operator,
    panel,
    people_page,
    release_page,
    rig,
    sign_in,
    study_motor,
    study_one,
    study_type,
    tests_page,
    what_if_page,
)
from station.screens.ask import Page
from station.screens.guarding import guarded, unanswered
from station.screens.live import live
from station.screens.site import Site

LOOPBACK = ("127.0.0.1", "localhost")
# No script, style or picture but ours, nothing embedded anywhere: ASVS 5.0 3.4.3 to 3.4.6.
POLICY = ("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
          "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
# With no-referrer browsers would send `Origin: null` with our own forms (Fetch standard, "append a request `Origin`
# header"), and `guarded` would refuse them.
HEADERS = ((b"content-security-policy", POLICY.encode()), (b"x-content-type-options", b"nosniff"),
           (b"referrer-policy", b"same-origin"), (b"cross-origin-opener-policy", b"same-origin"),
           (b"cross-origin-resource-policy", b"same-origin"))
# Over TLS: never again without it, for a year (RFC 6797; ASVS 5.0 3.4.1). Numbers such as 127.0.0.1 are left out by it.
STRICT = (b"strict-transport-security", b"max-age=31536000")
# These exist on this computer alone, see `access.AT_PANEL`.
PANEL_PAGES: tuple[Page, ...] = (
    *operator.PAGES, *leave.PAGES, *panel.PAGES, *rig.PAGES, *people_page.PAGES)
PAGES: tuple[Page, ...] = (
    *sign_in.PAGES, *PANEL_PAGES,
    *tests_page.PAGES, *files_page.PAGES, *bench_page.PAGES,
    *limits_page.PAGES, *what_if_page.PAGES, *release_page.PAGES, *compare_page.PAGES,
    *study_type.PAGES, *study_one.PAGES, *study_motor.PAGES, *gauge_page.PAGES, *drift_page.PAGES,
    *evidence_find.PAGES, *evidence_audit.PAGES, *evidence_recall.PAGES, *evidence_page.PAGES, *evidence_files.PAGES)


def build_app(site: Site, hosts: Sequence[str] = LOOPBACK, *, at_panel: bool = True) -> Starlette:
    """Return the application that serves `site` under the names `hosts`; without `at_panel` it controls nothing."""
    pages = PAGES if at_panel else [page for page in PAGES if page not in PANEL_PAGES]
    routes = [Route(page.path, guarded(site, page), methods=["POST" if page.post else "GET"]) for page in pages]
    routes += [Route("/line/events", live(site))] if at_panel else []
    routes += [Route("/assets/{mark}/{name}", assets.serve)]
    shared = [Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts)), Middleware(_Headers),
              Middleware(GZipMiddleware, minimum_size=1000)]
    app = Starlette(routes=routes, middleware=shared, exception_handlers={HTTPException: unanswered(site)})
    app.router.redirect_slashes = False     # an address is one of the table, or none
    app.state.at_panel = at_panel
    return app


class _Headers:
    """Puts the headers that every answer has onto it; pages are never kept by browsers, as they tell a state."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                names = {name.lower() for name, _ in message["headers"]}
                kept = () if b"cache-control" in names else ((b"cache-control", b"no-store"),)
                strict = (STRICT,) if scope["scheme"] == "https" else ()
                added = [*HEADERS, *strict, *kept]
                message["headers"] = [*message["headers"], *added]
            await send(message)

        await self._app(scope, receive, with_headers if scope["type"] == "http" else send)


