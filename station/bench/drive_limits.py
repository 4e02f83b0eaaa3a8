"""What the bench allows its drive, and the checks that every drive makes before and while it turns."""

from collections.abc import Callable
from dataclasses import dataclass

from station.bench.roles import Guard
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError
from station.units import RPM, from_si

IN_BAND = 0.05      # relative; a second look beside the drive's own word, wide enough for speed ripple
AT_REST = RPM       # rad/s
POLL = 0.01         # s


@dataclass(frozen=True, slots=True)
class DriveLimits:
    """What the bench allows its drive."""

    max_speed: float            # rad/s
    watchdog: float             # s without a message, after which the drive stops by itself
    stop_deadline: float = 30.0  # s from any speed to rest
    proof_days: float = 0.0     # how long a proof of the watchdog holds; 0: none is asked for

    def require_speed(self, speed: float) -> None:
        """Raise BenchNotFitError unless `speed`, rad/s, is a number within the limit."""
        if not abs(speed) <= self.max_speed * (1 + 1e-9):
            raise BenchNotFitError("speed refused", where="drive", got=f"{from_si(speed, 'rpm'):g} r/min",
                                   expected=f"at most {from_si(self.max_speed, 'rpm'):g} r/min",
                                   remedy="Lower the speed in the sequence file, or use a bench for that speed.")

    def wait_for_rest(self, read_speed: Callable[[], float], clock: Clock) -> None:
        """Wait until the shaft rests; BenchError when it still turns after the deadline."""
        end = clock.monotonic() + self.stop_deadline
        while not abs(speed := read_speed()) < AT_REST:
            if clock.monotonic() > end:
                raise BenchError("the shaft does not come to rest", where="drive", expected="standstill",
                                 got=f"{from_si(speed, 'rpm'):.0f} r/min",
                                 remedy="Press the emergency stop; keep the guard closed until the shaft rests.")
            clock.pause(POLL)


def require_closed(guard: Guard) -> None:
    """Raise BenchNotFitError when the guard is open."""
    if not guard.is_closed():
        raise BenchNotFitError("motion refused", where="guard", expected="a closed guard", got="an open guard",
                               remedy="Close the guard and press START again.")


def is_near(speed: float, target: float) -> bool:
    """Return whether `speed` is what one expects of a shaft that has reached `target`, both rad/s."""
    return abs(speed - target) <= IN_BAND * abs(target) + AT_REST
