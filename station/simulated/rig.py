"""Everything physical on the simulated bench: fixture, shaft, guard, sensor supply, insulation voltage."""

from dataclasses import dataclass
from threading import RLock

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS
from station.clock import Clock, system_clock
from station.errors import UsageError
from station.motor import LINES
from station.simulated.fitting import draw_fitting
from station.simulated.guard_circuit import GuardCircuit
from station.simulated.insulation import InsulationPath
from station.simulated.lot import Lot
from station.simulated.motion import Ripple
from station.simulated.motor import PlacedMotor, build_motor
from station.simulated.shaft import Shaft
from station.simulated.stack_lamps import StackLamps

AMBIENT_C = 22.9            # °C
REST_RPM = 5.0              # below this a hand may reach into the fixture
SUPPLY_SETTLING = 2.5e-4    # s, time constant of the sensors after their supply goes on
EMPTY_INSULATION = 1e12     # ohm, of the fixture itself


@dataclass(frozen=True, slots=True)
class _SensorSupply:
    volts: float = 0.0
    on: bool = False
    since: float = 0.0      # s, simulated, of the last change


class Rig:
    """The bench as physics sees it; every method may be called from any thread.

    Time is simulated seconds: `pace` times the seconds of the monotonic clock since the rig was made.
    """

    def __init__(self, lot: Lot, seed: int, pace: float = 1.0, clock: Clock | None = None) -> None:
        self._clock = clock or system_clock()
        self._started = self._clock.monotonic()
        self._lot, self._seed, self._pace = lot, seed, pace
        self._lock = RLock()
        self._motor: PlacedMotor | None = None
        # Each time the bench is started the hands are other ones: else two rounds would be fitted alike.
        self._fittings = np.random.default_rng([seed, 2, int(self._clock.utc().timestamp() * 1000)])
        self._fitting = draw_fitting(self._fittings)
        self._untouched = False     # whether no hand can have reached the motor since it was put in
        self._supply = _SensorSupply()
        self._insulation = InsulationPath()
        self._guard = GuardCircuit(self.now)
        self.stack_lamps = StackLamps()
        self.shaft = Shaft(self.now, self._lock, self._may_turn, np.random.default_rng([seed, 1]))

    # --- time -------------------------------------------------------------------------------------
    @property
    def pace(self) -> float:
        """Simulated seconds per second of the wall clock."""
        return self._pace

    def now(self) -> float:
        """Return simulated seconds since the rig was made."""
        return (self._clock.monotonic() - self._started) * self._pace

    # --- fixture ----------------------------------------------------------------------------------
    @property
    def serials(self) -> tuple[str, ...]:
        """Serial numbers of the motors that can be placed."""
        return tuple(self._lot.motors)

    @property
    def serial(self) -> str | None:
        """Serial number of the motor in the fixture."""
        with self._lock:
            return self._motor.serial if self._motor else None

    def place(self, serial: str) -> None:
        """Put a motor of the lot into the fixture, as soon as a shaft that coasts or stops is at rest.

        It never sits twice in quite the same way; the motor that is in already stays as it is while the guard was
        closed all the time.

        Raises
        ------
        UsageError
            No such motor in the lot, or the drive still turns the shaft.
        """
        self._await_rest()
        with self._lock:
            self._require_rest()
            if not (self._untouched and self._motor is not None and self._motor.serial == serial):
                self._fitting = draw_fitting(self._fittings)
            self._motor = build_motor(self._lot, serial, self._seed, AMBIENT_C, self._fitting.turn)
            self._untouched = True
            self._guard.exchange_motor()
            runout = Ripple(1, self._fitting.runout, self._fitting.runout_phase)
            self.shaft.couple(self._motor, runout, self._fitting.turn)
            self._insulation.connect(self._motor.insulation, self.now())

    def remove(self) -> None:
        """Take the motor out of the fixture at rest; raises UsageError while the drive turns it."""
        self._await_rest()
        with self._lock:
            self._require_rest()
            self._motor = None
            self._guard.exchange_motor()
            self.shaft.couple(None)
            self._insulation.connect(EMPTY_INSULATION, self.now())

    def _await_rest(self) -> None:
        # Outside the lock: instruments go on working while a person waits for the shaft.
        rest_in = self.shaft.rest_in()
        if rest_in:
            self._clock.pause(rest_in / self._pace + 1e-3)

    def _require_rest(self) -> None:
        speed = self.shaft.speed_rpm(self.now())
        if abs(speed) > REST_RPM:
            raise UsageError("the shaft still turns", where="simulated fixture", expected="a shaft at rest",
                             got=f"{speed:.0f} rpm", remedy="Stop the drive and wait until the shaft is at rest.")

    # --- guard, START, emergency stop -------------------------------------------------------------
    @property
    def guard_closed(self) -> bool:
        """Whether the guard is closed."""
        with self._lock:
            return self._guard.closed

    def open_guard(self) -> None:
        """Open the guard: takes torque from the drive and switches insulation voltage off, hard-wired."""
        with self._lock:
            self._untouched = False
            self._guard.open()
            self._take_energy_away()

    def close_guard(self) -> None:
        """Close the guard; nothing starts again by itself."""
        with self._lock:
            self._guard.close()

    @property
    def armed(self) -> bool:
        """Whether the START lamp is lit."""
        with self._lock:
            return self._guard.armed

    @property
    def start_latched(self) -> bool:
        """Whether START was pressed since the last arming."""
        with self._lock:
            return self._guard.is_latched()

    def press_start(self) -> None:
        """Press START: sets the latch if the lamp is lit and the guard closed, else nothing happens."""
        with self._lock:
            self._guard.press_start()

    def arm(self, on: bool) -> None:
        """Light (or put out) the START lamp; either clears the latch."""
        with self._lock:
            self._guard.arm(on)

    @property
    def attended(self) -> bool:
        """Whether somebody stands at the bench who presses START 0.3 s after the lamp lights."""
        with self._lock:
            return self._guard.attended

    @attended.setter
    def attended(self, present: bool) -> None:
        with self._lock:
            self._guard.attended = present

    @property
    def emergency_stop_healthy(self) -> bool:
        """Whether the emergency stop circuit is closed."""
        with self._lock:
            return self._guard.emergency_stop_healthy

    @emergency_stop_healthy.setter
    def emergency_stop_healthy(self, healthy: bool) -> None:
        with self._lock:
            self._guard.set_emergency_stop(healthy)
            if not healthy:
                self._take_energy_away()

    def _may_turn(self) -> bool:
        return self._guard.closed and self._guard.emergency_stop_healthy and self._guard.is_latched()

    def _take_energy_away(self) -> None:
        self.shaft.enable(False)
        self._insulation.switch(0.0, False, self.now())

    # --- signals ----------------------------------------------------------------------------------
    def line_signals(self, times: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Return the six signals at the fixture's terminals.

        Parameters
        ----------
        times : (n,) simulated s, not later than now

        Returns
        -------
        dict
            v_ab, v_bc, v_ca, h_a, h_b, h_c, each (n,) V, before any front end of a digitizer.
        """
        with self._lock:
            motor, supply = self._motor, self._supply
            motion = self.shaft.motion()
        rail = self._rail(supply, times)
        if motor is None:
            # The pull-ups of the fixture hold open sensor inputs at the rail.
            signals = {name: np.zeros(times.size) for name in VOLTAGE_CHANNELS}
            return signals | {name: rail.copy() for name in HALL_CHANNELS}
        angle, speed = motion.angle(times), motion.speed(times)
        volts = motor.line_voltages(times, angle, speed)
        signals = dict(zip(VOLTAGE_CHANNELS, volts, strict=True))
        lagged = motion.angle(times - motor.sensor_delay)
        levels = motor.sensor_levels(times, lagged, speed)
        for index, name in enumerate(HALL_CHANNELS):
            signals[name] = rail * levels[index]
        return {name: signals[name] for name in CHANNELS}

    @staticmethod
    def _rail(supply: _SensorSupply, times: NDArray[np.float64]) -> NDArray[np.float64]:
        since = np.maximum(times - supply.since, 0.0)
        settled = 1.0 - np.exp(-since / SUPPLY_SETTLING)
        return supply.volts * (settled if supply.on else 1.0 - settled)

    # --- sensor supply ----------------------------------------------------------------------------
    def set_sensor_supply(self, volts: float, on: bool) -> None:
        """Switch the sensors' supply; they need about a millisecond to settle."""
        with self._lock:
            kept = self._supply
            since = kept.since if on and kept.on else self.now()
            self._supply = _SensorSupply(volts if on else kept.volts, on, since)

    @property
    def sensor_supply_on(self) -> bool:
        """Whether the sensors have power."""
        with self._lock:
            return self._supply.on

    def sensor_supply_current(self) -> float:
        """Return the current that the sensors draw, A."""
        with self._lock:
            if not self._supply.on or self._motor is None:
                return 0.0
            return self._motor.sensor_current(self._supply.volts)

    # --- winding, insulation, temperature ---------------------------------------------------------
    def pair_resistance(self, pair: str, t: float) -> float:
        """Return the resistance between two lines at simulated time `t`, ohm; inf when open.

        `pair` is "ab", "bc" or "ca". Raises UsageError for another pair.
        """
        if pair not in LINES:
            raise UsageError("no such pair of lines", where="simulated fixture", expected=" or ".join(LINES),
                             got=pair, remedy="Name two of the three lines.")
        with self._lock:
            if self._motor is None:
                return float("inf")
            index = LINES.index(pair)
            return self._motor.pair_resistance(index, t) + self._fitting.pair_resistance(index)

    def set_insulation(self, volts: float, on: bool) -> None:
        """Switch the insulation voltage; with the guard open it stays off, hard-wired."""
        with self._lock:
            allowed = self._guard.closed and self._guard.emergency_stop_healthy
            self._insulation.switch(volts, on and allowed, self.now())

    def insulation_resistance(self) -> float:
        """Return the resistance from the winding to the frame, ohm."""
        with self._lock:
            return self._motor.insulation if self._motor else EMPTY_INSULATION

    def insulation_voltage(self) -> float:
        """Return the voltage across the insulation now, V; it decays after the source goes off."""
        with self._lock:
            return self._insulation.voltage(self.now())

    def temperature(self, place: str) -> float:
        """Return the temperature that a probe takes at "winding" or "ambient", °C; UsageError for another place."""
        with self._lock:
            if place == "ambient" or (place == "winding" and self._motor is None):
                return AMBIENT_C
            if place == "winding" and self._motor is not None:
                return self._motor.temperature(self.now()) + self._fitting.probe
        raise UsageError("no thermometer there", where="simulated fixture", expected="winding or ambient",
                         got=place, remedy="Ask for one of the two places.")


