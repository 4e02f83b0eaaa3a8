"""The simulated fixture as a page: what hands do at a real one, so that every screen can be tried without a bench.

It stands for iron, not for a screen: at a real bench there is no such page, and no page there moves anything.
"""

from collections.abc import Callable
from typing import Protocol

from starlette.responses import Response

from station.errors import NotAllowedError, UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.guarding import to
from station.screens.pages import page


class Fixture(Protocol):
    """What a hand can do at a fixture, and the motors that lie there."""

    def motors(self) -> tuple[str, ...]:
        """Return the serial numbers that may be scanned."""

    def open_guard(self) -> None:
        """Open the guard."""

    def close_guard(self) -> None:
        """Close the guard."""

    def press_start(self) -> None:
        """Press START."""

    def emergency_stop(self, *, pressed: bool) -> None:
        """Press the emergency stop, or release it."""


SHOWN = 100     # motors of the lot that the scanner offers; any may be typed

ACTS: dict[str, Callable[[Fixture], None]] = {
    "open": lambda fixture: fixture.open_guard(), "close": lambda fixture: fixture.close_guard(),
    "start": lambda fixture: fixture.press_start(), "stop": lambda fixture: fixture.emergency_stop(pressed=True),
    "release": lambda fixture: fixture.emergency_stop(pressed=False),
}


def _show(ask: Ask) -> Response:
    return page(ask, "rig.html", acts=tuple(ACTS), motors=_fixture(ask).motors()[:SHOWN])


def _act(ask: Ask) -> Response:
    fixture, act = _fixture(ask), ask.given("act", 10)
    if act not in ACTS:
        raise UsageError("no hand can do that", where="fixture", expected=" or ".join(ACTS), got=act,
                         remedy="Use the buttons of the page.")
    ACTS[act](fixture)
    return to("/rig")


def _fixture(ask: Ask) -> Fixture:
    if ask.site.fixture is None:
        raise NotAllowedError("there is no simulated fixture", where="/rig", expected="a simulated bench",
                              got="a real one", remedy="Do it at the bench, by hand.")
    return ask.site.fixture


PAGES = (Page("/rig", Duty.NONE, _show), Page("/rig", Duty.NONE, _act, post=True))
