"""The operator's page: one motor at a time, from the scan to the verdict."""

from starlette.responses import Response

from station.errors import NotAllowedError, StationError, UsageError
from station.screens.access import Duty, may
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.line import Line
from station.screens.line_state import LineState
from station.screens.operator_view import view_of
from station.screens.pages import page, part, words_for
from station.screens.sign_in import enter

LONGEST_SCAN = 80


def shown(ask: Ask, state: LineState) -> str:
    """Return the part of the page that follows the line."""
    return part(ask, "line_state.html", view=view_of(state, ask.site.clock.monotonic(), words_for(ask)), state=state)


def _show(ask: Ask) -> Response:
    line = _line(ask)
    if not _may_test(ask):
        return page(ask, "line_closed.html")
    state = line.state
    return page(ask, "line.html", view=view_of(state, ask.site.clock.monotonic(), words_for(ask)), state=state)


def _scan(ask: Ask) -> Response:
    """Take what a scanner read: a badge changes the operator, anything else asks for a test of that motor."""
    line, text = _line(ask), ask.given("text", LONGEST_SCAN)
    person = ask.site.people.by_badge(text) if text else None
    if person is not None and person.roles:
        return enter(ask, person, "/line")
    if not _may_test(ask):
        ask.site.trail.add("", "scan without sign-in", where=ask.where, good=False)
        return to("/line")
    try:
        if not text:
            raise UsageError("nothing was read", where="scanner", expected="a serial number", got="nothing",
                             remedy="Scan the label again.")
        order = line.arm(text, ask.name)
    except StationError as error:
        line.refuse(error)
        ask.site.trail.add(ask.name, "scan", where=ask.where, about=text, good=False)
        return to("/line")
    ask.site.trail.add(ask.name, "scan", where=ask.where, about=order.serial)
    return to("/line")


def _withdraw(ask: Ask) -> Response:
    line = _line(ask)
    ask.site.trail.add(ask.name, "give up", where=ask.where, about=line.state.serial)
    line.withdraw()
    return to("/line")


def _may_test(ask: Ask) -> bool:
    return ask.person is not None and may(ask.person.roles, Duty.TEST)


def _line(ask: Ask) -> Line:
    if ask.site.line is None:
        raise NotAllowedError("no motor is tested here", where=ask.request.url.path, expected="the panel of a station",
                              got="pages of its records alone", remedy="Go to the station's own panel.")
    return ask.site.line


PAGES = (
    Page("/line", Duty.NONE, _show),
    Page("/line/scan", Duty.NONE, _scan, post=True),
    Page("/line/withdraw", Duty.TEST, _withdraw, post=True),
)
