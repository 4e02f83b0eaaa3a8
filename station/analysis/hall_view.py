"""Where Hall sensors switch, as one or both directions show it, seen from the rotor's own zero."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from station.analysis.hall_measurements import wrapped
from station.analysis.unbalance import symmetrical_components
from station.measurement import Measurement
from station.motor import LINES, SENSORS

Measurements = Mapping[str, Measurement]

MUCH_SLOWER = 0.8   # of the other speed, so that delay and hysteresis can be told apart


@dataclass(frozen=True, slots=True)
class HallView:
    """Angles in degrees, by sensor; sensors that do not switch are left out.

    `middles` is the middle of the high range less 90 degrees, so that an uneven duty does not move
    it; with both directions known, hysteresis and delay are out of it and stand in `lags`.
    """

    middles: dict[str, float]
    lags: dict[str, float]
    duties: dict[str, float]
    phase_order: float | None
    hall_order: float | None
    unbalance: float | None
    frequency: float | None       # Hz, electrical, of the pair or of the one capture

    both_ways: bool               # whether position and lag are told apart
    slower: "HallView | None" = None   # the same at another speed, which tells hysteresis from delay

    def without(self, sensors: set[str]) -> "HallView":
        """Return the view of the other sensors."""
        middles, lags, duties = ({sensor: each for sensor, each in values.items() if sensor not in sensors}
                                 for values in (self.middles, self.lags, self.duties))
        return replace(self, middles=middles, lags=lags, duties=duties)

    def without_lags(self) -> "HallView":
        """Return the view of positions alone."""
        return replace(self, lags={}, duties={})


def view_of_one(measurements: Measurements) -> HallView:
    """Return what a capture in one direction shows; lag and position are not told apart."""
    found = {sensor: middle for sensor in SENSORS if (middle := _middle(measurements, sensor)) is not None}
    duties = {sensor: each.value for sensor in SENSORS if (each := measurements.get(f"hall_duty.{sensor}")) is not None}
    shift = zero_shift(measurements)
    return HallView({sensor: (middle + shift) % 360.0 for sensor, middle in found.items()}, {}, duties,
                    _value(measurements, "phase_order"), _value(measurements, "hall_order"),
                    _value(measurements, "back_emf_unbalance"), _value(measurements, "electrical_frequency"),
                    both_ways=False)


def view_of_both(forward: Measurements, reverse: Measurements) -> HallView:
    """Return what captures at one speed in both directions show."""
    ahead, back = view_of_one(forward), view_of_one(reverse)
    both = [sensor for sensor in SENSORS if sensor in ahead.middles and sensor in back.middles]
    half = {sensor: 0.5 * wrapped(ahead.middles[sensor] - back.middles[sensor]) for sensor in both}
    return HallView({sensor: (back.middles[sensor] + half[sensor]) % 360.0 for sensor in both}, half,
                    {sensor: 0.5 * (ahead.duties[sensor] + back.duties[sensor]) for sensor in both
                     if sensor in ahead.duties and sensor in back.duties},
                    _same(ahead.phase_order, back.phase_order), _same(ahead.hall_order, back.hall_order),
                    ahead.unbalance, ahead.frequency, both_ways=True)


def view_of_motor(captures: Sequence[Measurements]) -> HallView:
    """Return what all captures show: the fastest pair of both directions, with the slowest one beside it."""
    pairs = pairs_of(captures)
    if not pairs:
        return view_of_one(captures[0])
    fastest, slowest = view_of_both(*pairs[0]), view_of_both(*pairs[-1])
    apart = fastest.frequency and slowest.frequency and slowest.frequency < MUCH_SLOWER * fastest.frequency
    return replace(fastest, slower=slowest) if apart else fastest


def pairs_of(captures: Sequence[Measurements]) -> list[tuple[Measurements, Measurements]]:
    """Return captures at one speed forward and in reverse, the fastest first; matched within 5 %."""
    turning = [each for each in captures if "speed" in each]
    ahead = sorted((each for each in turning if each["speed"].value > 0), key=lambda each: -each["speed"].value)
    return [(one, other) for one in ahead
            if (other := next((each for each in turning if abs(each["speed"].value / one["speed"].value + 1) < 0.05),
                              None)) is not None]


def zero_shift(measurements: Measurements) -> float:
    """Return what to add to rotor angles, degrees, so that they count from the positive sequence's zero.

    Angles are declared from the zero of v_ab. A fault in one phase moves that zero and would turn
    all sensors with it; the positive sequence keeps its place, because the phases add up in it.
    Source: derived; with a phase at 1 - x of its voltage the positive sequence is 1 - x/3 of its own.
    """
    sizes = [measurements.get(f"back_emf_constant_fundamental.{line}") for line in LINES]
    angles = [measurements.get(f"phase_angle.{line}") for line in LINES[1:]]
    if any(each is None for each in (*sizes, *angles)):
        return 0.0
    late = np.radians([0.0, *(each.value for each in angles if each is not None)])
    phasors = np.array([each.value for each in sizes if each is not None]) * np.exp(-1j * late)
    if _value(measurements, "phase_order") == -1:
        phasors = phasors[[0, 2, 1]]
    _zero, positive, _negative = symmetrical_components(phasors)
    return float(np.degrees(np.angle(positive)))


def _middle(measurements: Measurements, sensor: str) -> float | None:
    rise = _value(measurements, f"hall_angle_rise.{sensor}")
    fall = _value(measurements, f"hall_angle_fall.{sensor}")
    return None if rise is None or fall is None else rise + 0.5 * wrapped(fall - 180.0 - rise)


def _value(measurements: Measurements, name: str) -> float | None:
    found = measurements.get(name)
    return None if found is None else found.value


def _same(first: float | None, second: float | None) -> float | None:
    return first if first == second else None
