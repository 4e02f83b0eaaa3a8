"""The guard, watched by a thread of its own while anything may move or be live."""

from collections.abc import Sequence
from threading import Event, Thread
from types import TracebackType
from typing import Self

from station.bench.roles import Guard, GuardState
from station.bench.safe_state import Step, reach_safe_state
from station.errors import StationError, StoppedError

PERIOD = 0.02   # s from one look to the next


class GuardWatch:
    """Looks at the guard every `PERIOD` inside its `with` block; when it opens, carries out `stops` in order.

    It waits behind no other instrument: the guard has its own session and this watch its own thread. The stop is
    sent after the first look that finds the guard open, so within PERIOD and two exchanges with the guard; a look that
    is not answered within the guard's own deadline counts as open. None of this is a safety function: torque and
    voltage are taken away by the hard-wired circuit, which needs no computer.
    """

    def __init__(self, guard: Guard, stops: Sequence[Step], period: float = PERIOD) -> None:
        self._guard, self._stops, self._period = guard, stops, period
        self.looks = 0                              # how often the guard has been looked at
        self.trouble: StationError | None = None    # why it stopped, for good
        self.unsafe: list[str] = []                 # what the stops could not do
        self._ended = Event()
        self._thread = Thread(target=self._watch, name="guard watch")

    def __enter__(self) -> Self:
        """Look once, raising what is found, then begin to watch."""
        require_closed(self._guard.state())
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop watching; a stop under way is waited for."""
        self._ended.set()
        self._thread.join()

    def require_closed(self) -> None:
        """Raise why the watch has stopped the bench, if it has; asks nothing."""
        if self.trouble is not None:
            raise self.trouble

    def _watch(self) -> None:
        while self.trouble is None and not self._ended.wait(self._period):
            try:
                require_closed(self._guard.state())
            except StationError as error:
                self.trouble = error
                self.unsafe += reach_safe_state(self._stops)
            self.looks += 1


def require_closed(state: GuardState) -> None:
    """Raise StoppedError unless the guard is closed and the emergency stop is healthy."""
    if not state.closed:
        raise StoppedError("guard opened", where="guard", expected="closed until the shaft rests", got="open",
                           remedy="Wait for standstill, close the guard and test the motor again.",
                           code="guard_opened")
    if not state.emergency_stop_healthy:
        raise StoppedError("emergency stop pressed", where="guard", expected="released", got="pressed",
                           remedy="Clear the danger, reset the emergency stop and test again.", code="emergency_stop")
