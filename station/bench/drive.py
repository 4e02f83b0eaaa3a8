"""The drive role over SCPI: it turns the motor under test."""

from dataclasses import dataclass, field

from station.bench.dialect import Needs
from station.bench.drive_limits import DriveLimits, is_near, require_closed
from station.bench.instrument import ScpiInstrument
from station.bench.roles import Guard
from station.clock import Clock
from station.errors import BenchError

NEEDS = Needs(templates={
    **dict.fromkeys(("on", "off", "is_on", "speed", "torque", "stop", "status", "trip", "clear"),
                    frozenset[str]()),
    "set_speed": frozenset({"speed"}), "set_ramp": frozenset({"ramp"}), "set_limit": frozenset({"speed"}),
    "set_watchdog": frozenset({"seconds"}),
}, numbers=frozenset({"settling"}), units={"speed": "rotational speed", "torque": "torque"})


@dataclass(frozen=True, slots=True)
class ScpiDrive(ScpiInstrument):
    """Fills the `Drive` role."""

    guard: Guard
    limits: DriveLimits
    clock: Clock
    _target: list[float] = field(default_factory=lambda: [0.0])   # rad/s, the last speed asked for

    def enable(self) -> None:
        """Switch the power stage on at zero speed, with the bench file's speed limit and watchdog."""
        require_closed(self.guard)
        line, speed = self.dialect.line, self._speed_text
        self._target[0] = 0.0
        self.session.command(line("set_limit", speed=speed(self.limits.max_speed)),
                             line("set_watchdog", seconds=self.limits.watchdog),
                             line("set_speed", speed=speed(0.0)), line("on"))
        if self.finite("is_on") != 1:
            raise BenchError("the drive did not switch on", where="drive", expected="power stage on", got="off",
                             remedy="Close the guard, press START and look at the drive's display.")

    def spin(self, speed: float, ramp: float) -> None:
        """Head for `speed`, rad/s, at `ramp`, rad/s2; BenchNotFitError with open guard or above the limit."""
        require_closed(self.guard)
        self.limits.require_speed(speed)
        self._target[0] = speed
        self.session.command(self.dialect.line("set_ramp", ramp=self._speed_text(ramp)),
                             self.dialect.line("set_speed", speed=self._speed_text(speed)))

    def is_settled(self) -> bool:
        """Return whether the ramp is over and the shaft turns at the speed asked for."""
        if self.has_bit("status", "settling") or self.finite("is_on") != 1:
            return False
        return is_near(self.speed(), self._target[0])

    def speed(self) -> float:
        """Return the indicated speed, rad/s."""
        return self.dialect.from_wire("speed", self.finite("speed"))

    def drag_torque(self) -> float:
        """Return the torque that turns the motor, N m."""
        return self.dialect.from_wire("torque", self.finite("torque"))

    def stop(self) -> None:
        """Ramp down to rest, then switch off; BenchError when the shaft still turns after the deadline.

        The output is switched off on every way out, also when the drive refuses to ramp.
        """
        try:
            self.session.command(self.dialect.line("stop"))
            self.limits.wait_for_rest(self.speed, self.clock)
        finally:
            self._target[0] = 0.0
            self.session.command(self.dialect.line("off"))
        if self.finite("is_on") != 0:
            raise BenchError("the drive did not switch off", where="drive", expected="power stage off", got="on",
                             remedy="Press the emergency stop; keep the guard closed until the shaft rests.")

    def trip(self) -> str | None:
        """Return why the drive switched itself off, or None."""
        if "trip" in self.dialect.answers:
            return "tripped" if self.finite("trip") else None
        answer = self.session.ask(self.dialect.line("trip")).strip('"')
        if answer in ("", "0"):
            return None
        return "tripped" if answer == "1" else answer

    def clear(self) -> None:
        """Clear a trip."""
        self.session.command(self.dialect.line("clear"))

    def set_watchdog(self, seconds: float) -> None:
        """Have the drive stop by itself after so long without a message; 0 switches that off."""
        self.session.command(self.dialect.line("set_watchdog", seconds=seconds))

    def safe(self) -> None:
        """Ramp down to rest and switch off."""
        self.stop()

    def _speed_text(self, speed: float) -> float:
        return self.dialect.to_wire("speed", speed)
