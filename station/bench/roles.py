"""The roles of a bench as the rest of the station sees them: SI inside, whoever fills them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from station.bench.identity import Identity
from station.capture import Channel

Role = Literal["drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard", "sensor_digitizer"]
ROLES: tuple[Role, ...] = ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")
SENSOR_DIGITIZER: Role = "sensor_digitizer"     # a digitizer of its own for the Hall sensors, on benches that have it


class Instrument(Protocol):
    """What every role can do."""

    def identity(self) -> Identity:
        """Return who answers; raise BenchNotFitError when it is another than the bench file names."""
    def self_test(self) -> str | None:
        """Run the instrument's own test: None when it passed, "" when it has none, else what it answered."""
    def drain_errors(self) -> tuple[str, ...]:
        """Empty the error queue and return its entries."""
    def safe(self) -> None:
        """Take the instrument to its safe state, from any state; raise BenchError if it is not reached."""


class Drive(Instrument, Protocol):
    """Turns the motor under test; a positive speed is the declared forward direction."""

    def enable(self) -> None:
        """Switch the power stage on at zero speed, with the bench file's speed limit and watchdog."""
    def spin(self, speed: float, ramp: float) -> None:
        """Head for `speed`, rad/s, at `ramp`, rad/s2; BenchNotFitError with open guard or above the limit."""
    def is_settled(self) -> bool:
        """Return whether the ramp is over and the shaft turns at the speed asked for."""
    def speed(self) -> float:
        """Return the indicated speed, rad/s."""
    def drag_torque(self) -> float:
        """Return the torque that turns the motor, N m."""
    def stop(self) -> None:
        """Ramp down to rest, then switch off; safe at any time and to repeat."""
    def trip(self) -> str | None:
        """Return why the drive switched itself off, or None."""
    def clear(self) -> None:
        """Clear a trip."""
    def set_watchdog(self, seconds: float) -> None:
        """Have the drive stop by itself after so long without a message; 0 switches that off."""


class Digitizer(Instrument, Protocol):
    """Takes signals at once: all that are wired, or those that a switch of its inputs lets through."""

    def configure(self, ranges: Mapping[str, float], sample_interval: float, points: int) -> None:
        """Set each signal's range (V peak at the motor), the interval (s) and the number of samples."""
    def initiate(self) -> None:
        """Start a capture."""
    def is_done(self) -> bool:
        """Return whether the capture is complete."""
    def fetch(self) -> tuple[dict[str, NDArray[np.int16]], dict[str, Channel]]:
        """Return codes (n,) and scales per signal."""
    def abort(self) -> None:
        """Give up a capture; safe at any time."""


class Ohmmeter(Instrument, Protocol):
    """Four-wire resistance between pairs of leads."""

    def measure(self, pair: str) -> float:
        """Return the resistance of `pair` ("ab", "bc", "ca"), ohm; inf when over range."""
    def release(self) -> None:
        """Disconnect every lead."""


class SensorSupply(Instrument, Protocol):
    """Feeds the Hall sensors."""

    def on(self, volts: float, current_limit: float) -> None:
        """Set volts and the current limit (A) and switch on."""
    def off(self) -> None:
        """Switch off."""
    def require_on(self, volts: float) -> None:
        """Raise BenchError unless the output is on, at about `volts`, and has not tripped."""
    def current(self) -> float:
        """Return the current drawn, A."""
    def voltage(self) -> float:
        """Return the voltage at the output, V."""


class InsulationTester(Instrument, Protocol):
    """Puts a high voltage between winding and frame."""

    def apply(self, volts: float, dwell: float) -> None:
        """Switch `volts` on; a reading comes `dwell` s later. Raise BenchNotFitError when the guard is open."""
    def resistance(self) -> float:
        """Return the insulation resistance after the dwell, ohm; inf when over range."""
    def voltage(self) -> float:
        """Return the voltage still on the winding, V."""
    def off(self) -> None:
        """Switch the voltage off; the winding then discharges, see `voltage`."""


class Thermometer(Instrument, Protocol):
    """Temperature of the winding and of the room."""

    def winding(self) -> float:
        """Return the temperature of the winding, degrees Celsius."""
    def ambient(self) -> float:
        """Return the temperature of the room, degrees Celsius."""


@dataclass(frozen=True, slots=True)
class GuardState:
    """What the hard-wired circuit reports in one reading."""

    closed: bool
    emergency_stop_healthy: bool


Colour = Literal["red", "yellow", "green", "blue", "white"]
COLOURS: tuple[Colour, ...] = ("red", "yellow", "green", "blue", "white")       # of a stack light, from the top


class Guard(Instrument, Protocol):
    """The guard, its START button and the emergency stop, as the hard-wired circuit reports them.

    Its outputs may drive a stack light, which is no part of that circuit.
    """

    def arm(self) -> None:
        """Invite a person to press START; never starts anything."""
    def disarm(self) -> None:
        """Withdraw the invitation; an earlier START no longer counts."""
    def state(self) -> GuardState:
        """Return guard and emergency stop as one reading."""
    def is_closed(self) -> bool:
        """Return whether the guard is closed."""
    def is_started(self) -> bool:
        """Return whether START was pressed since arming."""
    def is_emergency_stop_healthy(self) -> bool:
        """Return whether the emergency stop circuit is closed."""
    def light(self, lamps: frozenset[Colour]) -> bool:
        """Light these lamps of the stack light and no others; return False where there is none.

        BenchError when another lamp is lit afterwards, or the light has no lamp of a colour.
        """
