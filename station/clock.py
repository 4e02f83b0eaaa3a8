"""The only source of time: UTC for records, a monotonic clock for durations and deadlines."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

Date = date
Instant = datetime

# Linux makes a new one at every start of the computer (kernel documentation, from memory).
BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant on both clocks; the monotonic one, s, compares only with others of the same boot."""

    utc: datetime
    monotonic: float


@dataclass(frozen=True, slots=True)
class Clock:
    """Two clocks, injected so that tests can hold them still.

    `utc` gives aware UTC date-times; `monotonic` gives seconds that never jump; `pause` waits; `boot_id` tells one
    run of the computer, in which monotonic times compare, from the next, and is empty where nothing tells it.
    """

    utc: Callable[[], datetime]
    monotonic: Callable[[], float]
    pause: Callable[[float], None]
    boot_id: str = ""

    def now(self) -> Moment:
        """Return both clocks, read one right after the other."""
        return Moment(self.utc(), self.monotonic())

    def today(self) -> date:
        """Return today's date in UTC, for due dates."""
        return self.utc().date()


def system_clock() -> Clock:
    """Return the clocks of this computer."""
    return Clock(utc=lambda: datetime.now(UTC), monotonic=time.monotonic, pause=time.sleep, boot_id=_boot_id())


def stamp(moment: datetime) -> str:
    """Return `moment` as ISO 8601 in UTC with milliseconds, as records hold it."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _boot_id() -> str:
    try:
        return BOOT_ID.read_text("ascii").strip()
    except OSError:
        return ""
