"""The operator's page: one motor at a time, from the scan to the verdict."""

from typing import Any

from starlette.responses import Response

from station.errors import NotAllowedError, StationError
from station.screens.access import Duty, may
from station.screens.ask import Ask, Page
from station.screens.attempts import by_badge
from station.screens.guarding import to
from station.screens.hall import hall_of
from station.screens.hand_over_words import hand_over_words
from station.screens.line import Line
from station.screens.line_state import LineState
from station.screens.operator_view import View, view_of
from station.screens.orders import unknown_code
from station.screens.pages import page, part, words_for
from station.screens.refusal import RefusedError
from station.screens.sign_in import enter, inside
from station.screens.signs import SHAPES
from station.screens.standing import zone_of
from station.screens.words import languages

LONGEST_SCAN = 80


def shown(ask: Ask, state: LineState) -> str:
    """Return the part of the page that follows the line."""
    return part(ask, "line_state.html", **_given(ask, state))


def _given(ask: Ask, state: LineState) -> dict[str, Any]:
    """Return what the templates of the page show."""
    zone, handed, light = zone_of(ask.site.station), state.standing.plant, ask.site.light
    return {"view": _view(ask, state), "state": state, "shapes": SHAPES, "zone": zone,
            "hand_over": handed and hand_over_words(handed, words_for(ask), zone), "panel": ask.site.station.panel,
            "light_fault": light.fault if light else None}


def _view(ask: Ask, state: LineState) -> View:
    line = line_of(ask)
    return view_of(state, ask.site.clock.monotonic(), words_for(ask), by_fails=line.is_locked_by_fails(state))


def _show(ask: Ask) -> Response:
    line = line_of(ask)
    shared: dict[str, Any] = {"hall": hall_of(ask), "tongues": languages(), "shapes": SHAPES}
    if not _may_test(ask):
        return page(ask, "line_closed.html", **shared)
    return page(ask, "line.html", **(shared | _given(ask, line.state)))


def _scan(ask: Ask) -> Response:
    """Take what a scanner read: a badge changes the operator, anything else asks for a test of that motor."""
    line, text, source = line_of(ask), _read(ask), by_badge(ask.where)
    back = inside(ask.given("then")) or "/line"     # the simulated scanner lies on a page of its own
    if not _may_test(ask):
        ask.site.attempts.begin(ask.site.clock.monotonic(), source)
    person = ask.site.people.by_badge(text) if text else None
    if person is not None and person.roles:
        ask.site.attempts.forgive(source)
        return enter(ask, person, "/line")
    if not _may_test(ask):
        ask.site.trail.add("", "scan without sign-in", where=ask.where, good=False)
        return to(back)
    if line.state.is_busy and text == line.state.serial:
        return to(back)      # scanned twice: once is enough
    try:
        if unknown_code(text):
            raise RefusedError("unknown", text, text=text or "–")
        order = line.arm(text, ask.name)
    except StationError as error:
        line.refuse(error)
        ask.site.trail.add(ask.name, "scan", where=ask.where, about="a badge" if person else text, good=False)
        return to(back)
    ask.site.trail.add(ask.name, "scan", where=ask.where, about=order.serial)
    return to(back)


def _read(ask: Ask) -> str:
    """Return what the scanner read, without the control characters that some put around a code."""
    return "".join(c for c in ask.form.get("text", "") if c.isprintable()).strip()[:LONGEST_SCAN + 1]


def _withdraw(ask: Ask) -> Response:
    line = line_of(ask)
    ask.site.trail.add(ask.name, "give up", where=ask.where, about=line.state.serial)
    line.withdraw()
    return to("/line")


def _may_test(ask: Ask) -> bool:
    return ask.person is not None and may(ask.person.roles, Duty.TEST)


def line_of(ask: Ask) -> Line:
    """Return the line of this station; NotAllowedError where no motor is tested."""
    if ask.site.line is None:
        raise NotAllowedError("no motor is tested here", where=ask.request.url.path, expected="the panel of a station",
                              got="pages of its records alone", remedy="Go to the station's own panel.")
    return ask.site.line


PAGES = (
    Page("/line", Duty.NONE, _show),
    Page("/line/scan", Duty.NONE, _scan, post=True),
    Page("/line/withdraw", Duty.TEST, _withdraw, post=True),
)
