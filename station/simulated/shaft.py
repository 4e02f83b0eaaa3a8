"""The driven shaft: ramps, ripple, drag, coasting and trips, as an exact function of simulated time."""

from collections.abc import Callable
from threading import RLock
from typing import Protocol

import numpy as np

from station.errors import UsageError
from station.simulated.motion import Leg, Motion, Ripple
from station.units import RPM

DRIVE_INERTIA = 2e-4        # kg m2, drive and coupling
DRIVE_DRAG = 0.004          # N m, of the drive's own bearings when it coasts
TORQUE_LIMIT = 5.0          # N m
TORQUE_CONSTANT = 0.08      # N m/A
IDLE_CURRENT = 0.15         # A
SETTLING = 0.05             # s after the end of a ramp
KEPT_LEGS = 40
AVERAGED = 0.05             # s, over which a drive averages its torque
_DRIVE_RIPPLE = (Ripple(1, 6e-4, 0.0), Ripple(2, 3e-4, 0.0))   # order, share of speed, phase
_BELT_HZ, _BELT_SHARE = 7.3, 2e-4                              # a ripple that knows nothing of the rotor


class Load(Protocol):
    """What the shaft turns."""

    @property
    def inertia(self) -> float:
        """Inertia, kg m2."""
    @property
    def cogging_order(self) -> int:
        """Cogging periods per revolution."""
    @property
    def cogging_torque(self) -> float:
        """Amplitude of cogging, N m."""
    def drag(self, speed: float) -> float:
        """Return the drag torque at a speed, rad/s, as a positive number, N m."""


class Shaft:
    """The drive and what it turns. Speeds in rpm, signed; positive is the declared forward direction."""

    def __init__(self, now: Callable[[], float], lock: RLock, may_turn: Callable[[], bool],
                 random: np.random.Generator) -> None:
        self._now, self._lock, self._may_turn = now, lock, may_turn
        self._phases = random.uniform(0.0, 2 * np.pi, 3)
        self._load: Load | None = None
        self._runout: Ripple | None = None
        self._turn = 0.0            # rad, of the load's rotor to the drive
        self._target = 0.0          # rad/s
        self._slew = 2000 * RPM     # rad/s2
        self._limit = 6000 * RPM    # rad/s
        self._enabled = False
        self._ramp_end = 0.0        # s
        self._off_at: float | None = None
        self._trip_at: float | None = None
        self._motion = self._at_rest()

    # --- commands ---------------------------------------------------------------------------------
    def couple(self, load: Load | None, runout: Ripple | None = None, turn: float = 0.0) -> None:
        """Couple another motor (or none) to the drive, at rest; its output goes off.

        `runout` is of the coupling, `turn` how far its rotor stands turned to the drive, rad: cogging turns along.
        """
        with self._lock:
            self._load, self._runout, self._turn = load, runout, turn
            self._enabled, self._off_at, self._trip_at = False, None, None
            self._motion = self._at_rest()

    def set_target(self, rpm: float) -> None:
        """Set the speed to hold; ramps there when enabled. Raises UsageError above the limit."""
        with self._lock:
            if abs(rpm) * RPM > self._limit * (1 + 1e-9):
                raise UsageError("target above the speed limit", where="simulated drive",
                                 expected=f"at most {self._limit / RPM:.0f} rpm", got=f"{rpm:.0f} rpm",
                                 remedy="Lower the target or raise the limit.")
            self._target = rpm * RPM
            if self.enabled:
                self._off_at = None
                self._ramp(self._target)

    def set_slew(self, rpm_per_s: float) -> None:
        """Set the steepness of the next ramp, a positive number."""
        with self._lock:
            self._slew = max(abs(rpm_per_s) * RPM, 1e-3)

    def set_limit(self, rpm: float) -> None:
        """Set the highest speed that may be asked for."""
        with self._lock:
            self._limit = abs(rpm) * RPM

    def enable(self, on: bool) -> bool:
        """Switch the drive's output; off lets the shaft coast. Returns whether it is now as asked."""
        with self._lock:
            if not on:
                if self.enabled or self._off_at is not None:
                    self._coast(self._now())
                    self._trip_at = None   # a shaft that coasts will not reach the overload ahead
                self._enabled, self._off_at = False, None
                return True
            if not self._may_turn() or self.tripped is not None:
                return False
            if not self.enabled or self._off_at is not None:
                self._enabled, self._off_at = True, None
                self._ramp(self._target)
            return True

    def stop(self) -> None:
        """Ramp to rest, then switch the output off; safe at any time."""
        with self._lock:
            if self.enabled and self._off_at is None:
                self._ramp(0.0)
                if self._trip_at is None:
                    self._off_at = self._ramp_end

    def clear_trip(self) -> None:
        """Clear a trip; the output stays off."""
        with self._lock:
            if self.tripped is not None:
                self._trip_at, self._enabled = None, False

    # --- state ------------------------------------------------------------------------------------
    @property
    def enabled(self) -> bool:
        """Whether the drive's output is on."""
        with self._lock:
            if self._off_at is not None and self._now() >= self._off_at:
                self._enabled, self._off_at = False, None
            return self._enabled and self.tripped is None

    @property
    def tripped(self) -> str | None:
        """Why the drive tripped, or None."""
        with self._lock:
            if self._trip_at is not None and self._now() >= self._trip_at:
                return f"torque above {TORQUE_LIMIT:.1f} N m"
            return None

    @property
    def target_rpm(self) -> float:
        """Target speed, rpm."""
        return self._target / RPM

    @property
    def slew_rpm_per_s(self) -> float:
        """Steepness of ramps, rpm/s."""
        return self._slew / RPM

    @property
    def limit_rpm(self) -> float:
        """Highest speed, rpm."""
        return self._limit / RPM

    def settled(self) -> bool:
        """Return whether the output is on, the ramp over and the speed within its band."""
        with self._lock:
            return self.enabled and self._off_at is None and self._now() >= self._ramp_end + SETTLING

    def rest_in(self) -> float | None:
        """Return in how many simulated s a shaft that coasts or stops is at rest; None while it is driven."""
        with self._lock:
            if self.enabled and self._off_at is None:
                return None
            return max(self._ramp_end - self._now(), 0.0)

    def motion(self) -> Motion:
        """Return the motion as known now: immutable, valid for every time up to the next command."""
        with self._lock:
            return self._motion

    def speed_rpm(self, t: float) -> float:
        """Return the speed at simulated time `t`, rpm."""
        return float(self.motion().speed(np.array([t]))[0]) / RPM

    def torque(self, t: float) -> float:
        """Return the drive's torque at `t`, N m; positive when it works against drag, in either direction."""
        with self._lock:
            motion = self._motion
            leg = motion.leg(t)
            speed = leg.speed + leg.acceleration * (t - leg.start)
            if not self.enabled or (speed == 0 and leg.acceleration == 0):
                return 0.0
            direction = 1.0 if speed > 0 or (speed == 0 and leg.acceleration > 0) else -1.0
            torque = direction * self._inertia() * leg.acceleration + self._drag(abs(speed))
            if self._load is not None:
                angle = float(motion.angle(np.array([t]))[0])
                torque += self._load.cogging_torque * np.sin(self._load.cogging_order * angle)
            return float(torque)

    def mean_torque(self, t: float) -> float:
        """Return the torque averaged over AVERAGED s up to `t`, N m, so that cogging does not show."""
        return float(np.mean([self.torque(at) for at in np.linspace(t - AVERAGED, t, 40)]))

    def current(self, t: float) -> float:
        """Return the drive's current at `t`, A."""
        with self._lock:
            return abs(self.torque(t)) / TORQUE_CONSTANT + (IDLE_CURRENT if self.enabled else 0.0)

    # --- the course of motion ---------------------------------------------------------------------
    def _inertia(self) -> float:
        return DRIVE_INERTIA + (self._load.inertia if self._load else 0.0)

    def _drag(self, speed: float) -> float:
        return self._load.drag(speed) if self._load else 0.0

    def _at_rest(self) -> Motion:
        ripples = [*_DRIVE_RIPPLE]
        if self._load is not None:
            # At speed, cogging shakes the shaft little: its inertia carries it over.
            order = self._load.cogging_order
            ripples.append(Ripple(order, min(0.05 * self._load.cogging_torque, 3e-4), order * self._turn))
        phased = tuple(Ripple(r.order, r.share, r.phase + float(p))
                       for r, p in zip(ripples, self._phases, strict=False))
        phased += (self._runout,) if self._runout is not None else ()
        self._ramp_end = 0.0
        return Motion((Leg(self._now(), 0.0, 0.0, 0.0, 0.0),), phased, _BELT_HZ, _BELT_SHARE)

    def _ramp(self, target: float) -> None:
        now = self._now()
        speed = self._motion.smooth_speed(now)
        if speed * target < 0:
            acceleration = self._slew if target > 0 else -self._slew
        else:
            acceleration = self._slew if target > speed else -self._slew
        self._ramp_end = now + abs(target - speed) / self._slew
        self._trip_at = self._overload(now, speed, acceleration)
        self._motion = self._motion.then(now, acceleration if self._ramp_end > now else 0.0, KEPT_LEGS)
        if self._trip_at is not None:
            self._coast(self._trip_at)
        elif self._ramp_end > now:
            self._motion = self._motion.then(self._ramp_end, 0.0, KEPT_LEGS, speed=target)

    def _overload(self, now: float, speed: float, acceleration: float) -> float | None:
        """Return when the torque passes its limit during the ramp, found in steps of a hundredth of it."""
        for t in np.linspace(now, self._ramp_end, 101):
            reached = abs(speed + acceleration * (t - now))
            pushing = self._inertia() * self._slew if speed * acceleration >= 0 else 0.0
            if self._drag(reached) + pushing > TORQUE_LIMIT:
                return float(t)
        return None

    def _coast(self, at: float) -> None:
        speed = self._motion.smooth_speed(at)
        drag = self._drag(abs(speed)) + DRIVE_DRAG
        deceleration = drag / self._inertia()
        self._motion = self._motion.then(at, -float(np.sign(speed)) * deceleration, KEPT_LEGS)
        rest = at + abs(speed) / deceleration
        if rest > at:
            self._motion = self._motion.then(rest, 0.0, KEPT_LEGS, speed=0.0)
        self._ramp_end = rest

