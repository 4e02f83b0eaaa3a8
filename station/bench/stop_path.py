"""The stop of the drive: over a connection of its own, so that it never waits behind a reading."""

from collections.abc import Callable
from dataclasses import dataclass

from station.bench.roles import Drive
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError, NoReplyError

NOTICED = 0.2       # s in which a drive that serves one client notices that the last one has gone


@dataclass(frozen=True, slots=True)
class StopPath:
    """Brings the drive to rest from any thread, whatever else is pending with it or another instrument.

    `own` is the same drive over a second connection; None when it serves one client only. Then, and when the
    second connection fails, `give_up` breaks off what is pending on the usual one, and the stop goes there.
    """

    usual: Drive
    own: Drive | None
    give_up: Callable[[], None]
    clock: Clock

    def require_open(self) -> None:
        """Raise BenchError unless the second connection, where there is one, reaches the drive of the bench file."""
        if self.own is None:
            return
        try:
            self.own.identity()
        except BenchError as error:
            raise BenchNotFitError("the stop has no connection of its own", where="drive", got=str(error),
                                   expected="a drive that serves two connections at once, as its dialect says",
                                   remedy="End other programs that use the drive, or put clients = 1 in its dialect."
                                   ) from error

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
        try:
            self.usual.safe()
        except NoReplyError as error:
            # The connection was broken off a moment ago, and the drive may not take another before it has missed it.
            if not isinstance(error.__cause__, ConnectionError):
                raise
            self.clock.pause(NOTICED)
            self.usual.safe()
