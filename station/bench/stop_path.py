"""The stop of the drive: over a connection of its own, so that it never waits behind a reading."""

from collections.abc import Callable
from dataclasses import dataclass

from station.bench.roles import Drive
from station.errors import BenchError


@dataclass(frozen=True, slots=True)
class StopPath:
    """Brings the drive to rest from any thread, whatever else is pending with it or another instrument.

    `own` is the same drive over a second connection; None when it serves one client only. Then, and when the
    second connection fails, `give_up` breaks off what is pending on the usual one, and the stop goes there.
    """

    usual: Drive
    own: Drive | None
    give_up: Callable[[], None]

    def stop(self) -> None:
        """Ramp down to rest and switch off; BenchError when neither way gets there."""
        if self.own is None:
            self._stop_as_usual()
            return
        try:
            self.own.stop()
        except BenchError:
            self._stop_as_usual()

    def _stop_as_usual(self) -> None:
        self.give_up()
        self.usual.safe()
