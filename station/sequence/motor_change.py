"""From one motor to the next: the guard must be seen open between them, or START would turn the last one again."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from station.bench.roles import Guard
from station.clock import Clock
from station.errors import BenchError
from station.sequence.progress import Notice, Watch

LOOK = 0.05     # s from one look at the guard to the next; a hand needs longer


class Hands(Protocol):
    """Who exchanges the motors: a person, of whom the station asks nothing here, or a stand-in at a simulated bench."""

    def open_guard(self) -> None:
        """Open the guard, if it is closed."""
    def place(self, serial: str) -> None:
        """Put the motor into the fixture."""
    def close_guard(self) -> None:
        """Close the guard, if it is open."""


@dataclass(slots=True)
class MotorChange:
    """Knows which motor was last in the fixture, and waits until the next one can be there.

    A serial that was scanned while the last motor still lies behind a closed guard would get that one's verdict.
    Nothing is armed meanwhile, so that no START counts.
    """

    guard: Guard
    clock: Clock
    _last: str = field(default="")

    def await_motor(self, serial: str, hands: Hands, watch: Watch, *, anew: bool = False) -> None:
        """Return once `serial` may lie behind a closed guard.

        The first motor is taken to be there, and so is the last one when it is tested again, unless `anew`; then the
        guard need only be closed. Any other must be put in: the guard is waited for, first open and then closed,
        however long that takes.
        """
        if anew or self._last not in ("", serial):
            out = f"take {self._last} out, " if self._last else ""
            watch(Notice("wait", f"next is {serial}: open the guard, {out}put {serial} in, close the guard",
                         "another motor"))
            self._await_guard(False, hands.open_guard, watch)
            hands.place(serial)
            self._await_guard(True, hands.close_guard, watch)
        else:
            hands.place(serial)
            self._await_closed(serial, hands, watch)
        self._last = serial

    def _await_closed(self, serial: str, hands: Hands, watch: Watch) -> None:
        hands.close_guard()
        try:
            if not self.guard.state().closed:
                watch(Notice("wait", f"{serial}: close the guard", "guard"))
            while not self.guard.state().closed:
                hands.close_guard()
                self.clock.pause(LOOK)
        except BenchError:      # the run finds it too, refuses, and says why
            return

    def _await_guard(self, closed: bool, move: Callable[[], None], watch: Watch) -> None:
        told = ""
        while True:
            move()
            try:
                if self.guard.state().closed is closed:
                    return
            except BenchError as error:     # it is said, and mended by a person; the next run asks anyway
                if told != str(error):
                    told = str(error)
                    watch(Notice("note", told))
            self.clock.pause(LOOK)
