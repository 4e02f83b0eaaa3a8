"""The panel itself: letters and buttons in millimetres, light or dark for the hall, as the station file says."""

from starlette.responses import Response

from station.errors import UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.hall import COOKIE, HALLS


def _sizes(ask: Ask) -> Response:
    """Return the one rule that turns millimetres into pixels of this panel; styles inside pages are forbidden."""
    return Response(f":root {{ --mm: {1 / ask.site.station.panel.pitch_mm:.4f}px; }}\n", media_type="text/css")


def _hall(ask: Ask) -> Response:
    hall = ask.given("hall", 10)
    if hall not in HALLS:
        raise UsageError("no such hall", where="panel", expected=" or ".join(HALLS), got=hall,
                         remedy="Use the buttons of the page.")
    answer = to("/line")
    answer.set_cookie(COOKIE, hall, max_age=365 * 86_400, httponly=True, samesite="strict",
                      secure=ask.request.url.scheme == "https")
    return answer


PAGES = (Page("/panel.css", Duty.NONE, _sizes), Page("/panel", Duty.NONE, _hall, post=True))
