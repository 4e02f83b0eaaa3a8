"""The only source of time: UTC for records, a monotonic clock for durations and deadlines."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime

Date = date
Instant = datetime


@dataclass(frozen=True, slots=True)
class Clock:
    """Two clocks, injected so that tests can hold them still.

    `utc` gives aware UTC date-times; `monotonic` gives seconds that never jump; `pause` waits.
    """

    utc: Callable[[], datetime]
    monotonic: Callable[[], float]
    pause: Callable[[float], None]

    def today(self) -> date:
        """Return today's date in UTC, for due dates."""
        return self.utc().date()


def system_clock() -> Clock:
    """Return the clocks of this computer."""
    return Clock(utc=lambda: datetime.now(UTC), monotonic=time.monotonic, pause=time.sleep)


def stamp(moment: datetime) -> str:
    """Return `moment` as ISO 8601 in UTC with milliseconds, as records hold it."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
