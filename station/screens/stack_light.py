"""The stack light above the line: the state of the operator's page as colours that are seen from far away.

A thread of its own sets it, reads it back, and tells on the panel when it shows something else. It is no safety
function, and a faulty one stops no test. Colours by their meaning (IEC 60073 as read second hand): red says danger and
nothing else, so never FAIL; blue that a person must act; yellow that something is abnormal.
"""

import threading
from collections.abc import Callable, Mapping
from types import TracebackType
from typing import Self

from station.bench.roles import COLOURS, Colour
from station.errors import BenchError, StationError
from station.screens.line_state import LineState

LOOK = 0.1          # s between looks at the state
HALF_FLASH = 0.25   # s on, and as long off: 2 Hz, in the middle of what is usual (from memory)
TRIAL = 1.0         # s that every lamp is lit when the line opens, for people to look
AGAIN = 5.0         # s after which a light with a fault is tried once more, never while a motor is tested

# key of the operator's state -> its colour; a flashing one also asks for a hand
OF_STATE: Mapping[str, Colour] = {
    "ready": "green", "testing": "green", "coasting": "green", "pass": "green", "check-good": "green",
    "wait": "green", "change": "blue", "guard": "blue", "start": "blue", "reference": "blue", "fail": "blue",
    "no-result": "yellow", "stopped": "yellow", "refused": "yellow", "locked": "yellow", "check-bad": "yellow",
    "check-none": "yellow"}
FLASHING = frozenset({"fail"})
Lamps = frozenset[Colour]
OFF: Lamps = frozenset()


def lamps_of(key: str, state: LineState, *, simulated: bool, is_dark: bool = False) -> Lamps:
    """Return which lamps are lit in a state; `is_dark`: in the dark half of a flash. White: no real bench."""
    white: Lamps = frozenset({"white"}) if simulated else OFF
    if state.guard is not None and not state.guard.emergency_stop_healthy:
        return white | {"red"}
    return white if is_dark and key in FLASHING else white | {OF_STATE[key]}


class StackLight:
    """Follows a line inside its `with` block; nothing happens where `show` says that there is no light."""

    def __init__(self, show: Callable[[Lamps], bool], state: Callable[[], tuple[str, LineState]], *, simulated: bool
                 ) -> None:
        self._show, self._state, self._simulated = show, state, simulated
        self._leaving = threading.Event()
        self._thread = threading.Thread(target=self._work, name="stack light")
        self.fault: StationError | None = None      # what keeps it from showing what it should

    def __enter__(self) -> Self:
        """Light every lamp for a moment, then follow the line."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Put every lamp out: nobody vouches for them any more."""
        self._leaving.set()
        self._thread.join()

    def _work(self) -> None:
        if not self._tried(frozenset(COLOURS)) and self.fault is None:
            return      # there is no light
        self._leaving.wait(TRIAL)
        shown: Lamps | None = None
        is_dark = False
        while not self._leaving.is_set():
            key, state = self._state()
            is_dark = key in FLASHING and not is_dark
            wanted = lamps_of(key, state, simulated=self._simulated, is_dark=is_dark)
            if wanted != shown and not (self.fault is not None and state.is_busy):
                shown = wanted if self._tried(wanted) else None
            self._leaving.wait(AGAIN if self.fault is not None else HALF_FLASH if key in FLASHING else LOOK)
        self._tried(OFF)

    def _tried(self, lamps: Lamps) -> bool:
        """Show these lamps; return whether they are lit now, and keep why not."""
        try:
            is_shown, self.fault = self._show(lamps), None
        except BenchError as error:
            is_shown, self.fault = False, error
        return is_shown
