"""The hard-wired circuit of guard, START button with lamp, and emergency stop."""

from collections.abc import Callable

PRESS_AFTER = 0.3   # s simulated, from the lamp to the finger in attended mode


class GuardCircuit:
    """States of the safety circuit; opening anything clears the START latch.

    `now` gives simulated seconds. The caller holds the lock.
    """

    def __init__(self, now: Callable[[], float]) -> None:
        self._now = now
        self.closed = True
        self.armed = False
        self.attended = False
        self.emergency_stop_healthy = True
        self._latched = False
        self._press_due: float | None = None

    def open(self) -> None:
        """Open the guard."""
        self.closed = False
        self._forget_start()

    def close(self) -> None:
        """Close the guard; START must be armed and pressed again."""
        self.closed = True

    def set_emergency_stop(self, healthy: bool) -> None:
        """Press (False) or release (True) the emergency stop; releasing restarts nothing."""
        self.emergency_stop_healthy = healthy
        if not healthy:
            self._forget_start()

    def exchange_motor(self) -> None:
        """Reach into the fixture: a START given for the last motor does not count for the next."""
        self._latched = False

    def arm(self, on: bool) -> None:
        """Light or put out the lamp; both clear the latch."""
        self.armed, self._latched = on, False
        self._press_due = self._now() + PRESS_AFTER if on else None

    def press_start(self) -> None:
        """Press the button; it counts only with the lamp lit and everything closed."""
        if self.armed and self.closed and self.emergency_stop_healthy:
            self._latched = True

    def is_latched(self) -> bool:
        """Return whether START was pressed since arming; the person in attended mode presses here."""
        due = self._press_due is not None and self._now() >= self._press_due
        if self.attended and due and self.closed:
            self._press_due = None
            self.press_start()
        return self._latched

    def _forget_start(self) -> None:
        self._latched, self._press_due = False, None
