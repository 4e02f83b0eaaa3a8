"""The characteristics: their names, units, meanings and where each comes from.

These names are a contract: limit files, records, studies and `station analyse --json` use them.
"""

from dataclasses import dataclass
from typing import Literal

from station.motor import LINES, SENSORS

# one capture; both directions together; the motor at rest
Scope = Literal["capture", "directions", "rest"]
# how it spreads from motor to motor: around a value; from zero on, as the size of something; by whole numbers
Nature = Literal["value", "magnitude", "count"]


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A quantity with a definition and a unit; `members` are its suffixes, empty for a plain name."""

    name: str
    unit: str
    scope: Scope
    meaning: str
    members: tuple[str, ...] = ()
    mean: bool = False  # also reported as `.mean` of its members
    nature: Nature = "value"

    def full_names(self) -> tuple[str, ...]:
        """Return every name under which it is reported."""
        if not self.members:
            return (self.name,)
        suffixes = (*self.members, "mean") if self.mean else self.members
        return tuple(f"{self.name}.{suffix}" for suffix in suffixes)

    def limited_names(self) -> tuple[str, ...]:
        """Return the names that a limit on the plain name covers: each member, not their mean."""
        return tuple(f"{self.name}.{member}" for member in self.members) or (self.name,)


HARMONIC_ORDERS = range(2, 26)
SECTORS = range(1, 7)


def _line(name: str, unit: str, meaning: str, *, mean: bool = False, nature: Nature = "value") -> Characteristic:
    return Characteristic(name, unit, "capture", meaning, LINES, mean, nature)


def _sensor(name: str, unit: str, meaning: str, scope: Scope = "capture", nature: Nature = "value") -> Characteristic:
    return Characteristic(name, unit, scope, meaning, SENSORS, nature=nature)


def _one(name: str, unit: str, meaning: str, scope: Scope = "capture", nature: Nature = "value") -> Characteristic:
    return Characteristic(name, unit, scope, meaning, nature=nature)


def _count(name: str, meaning: str) -> Characteristic:
    return Characteristic(name, "1", "capture", meaning, nature="count")


CHARACTERISTICS: tuple[Characteristic, ...] = (
    _one("speed", "rpm", "angle over time, whole mechanical revolutions, signed"),
    _one("electrical_frequency", "Hz", "electrical cycles per second"),
    _one("speed_ripple", "%", "rms deviation of speed from its straight line, over its mean", nature="magnitude"),
    _one("speed_drift", "%", "change of speed over the capture, over its mean"),
    _line("back_emf_constant_peak", "V/krpm", "mean of the half-cycle peaks of the fitted wave", mean=True),
    _line("back_emf_constant_fundamental", "V/krpm", "amplitude of the fundamental", mean=True),
    _line("back_emf_constant_rms", "V/krpm", "rms of the fitted wave", mean=True),
    _line("flux_linkage", "mV s", "line-to-line, mean rectified value over 4 f", mean=True),
    _one("back_emf_spread", "%", "largest deviation of a line's fundamental from the mean of three",
         nature="magnitude"),
    _one("back_emf_unbalance", "%", "negative over positive sequence of the fundamental", nature="magnitude"),
    Characteristic("phase_angle", "deg", "capture",
                   "rotor angle of the rising zero of the fundamental, relative to ab", ("bc", "ca")),
    _line("thd", "%", "total harmonic distortion, orders 2 to 25, noise removed", nature="magnitude"),
    *(_line(f"harmonic_{order}", "%", f"amplitude of order {order} over the fundamental", nature="magnitude")
      for order in HARMONIC_ORDERS),
    _line("flat_top", "deg", "width above 95 % of the peak, mean of both half cycles"),
    _line("pole_spread", "%", "largest minus smallest half-cycle gain over their mean, per revolution",
          nature="magnitude"),
    _line("back_emf_offset", "V", "direct voltage of the channel"),
    _one("line_sum", "%", "phasor sum of the three fundamentals over their mean", nature="magnitude"),
    _count("bad_samples", "samples at a rail of a voltage channel's converter, left out of every number"),
    _count("phase_order", "+1: lines in declared order; -1: reversed"),
    _count("hall_order", "+1: codes in declared order; -1: reversed"),
    _count("hall_edges_per_revolution", "edges per mechanical revolution"),
    _count("hall_forbidden", "occurrences of a code that the layout forbids"),
    _count("hall_bounce", "extra level crossings around edges"),
    _count("hall_missing", "edges that the angle calls for and that are not there"),
    _sensor("hall_angle_rise", "deg", "mean rotor angle at which the sensor goes high as the angle grows"),
    _sensor("hall_angle_fall", "deg", "mean rotor angle at which the sensor goes low as the angle grows"),
    _sensor("hall_placement", "deg", "mean deviation of rise and fall from their declared angles"),
    _one("hall_sector_min", "deg", "narrowest of the six code widths"),
    _one("hall_sector_max", "deg", "widest of the six code widths"),
    *(_one(f"hall_sector_{sector}", "deg", f"width of code interval {sector}") for sector in SECTORS),
    _sensor("hall_duty", "%", "share of the electrical cycle for which the sensor is high"),
    _sensor("hall_jitter", "deg", "spread of edges after the per-pole pattern is removed", nature="magnitude"),
    _sensor("hall_eccentricity", "deg", "amplitude of the once-per-revolution movement of the edges",
            nature="magnitude"),
    _sensor("hall_high", "V", "high state level"),
    _sensor("hall_low", "V", "low state level"),
    _sensor("hall_transition", "us", "transition duration, 10 to 90 %"),
    _one("commutated_torque_constant", "N m/A", "mean torque per ampere if these codes switch the lines"),
    _one("commutated_torque_ripple", "%", "peak to peak over mean of that torque", nature="magnitude"),
    _sensor("hall_position", "deg", "mean of the placements in both directions", "directions"),
    _sensor("hall_hysteresis", "deg", "half of forward minus reverse placement", "directions"),
    Characteristic("winding_resistance", "ohm", "rest", "four-wire, at the reference temperature", LINES),
    _one("winding_resistance_spread", "%", "largest deviation of a line from the mean of three", "rest",
         nature="magnitude"),
    _one("insulation_resistance", "Mohm", "winding to frame", "rest"),
    _one("sensor_supply_current", "mA", "supply current of the Hall sensors", "rest"),
    _one("drag_torque", "mN m", "torque to turn the motor at the capture's speed"),
)

BY_NAME = {c.name: c for c in CHARACTERISTICS}
BY_FULL_NAME = {full: c for c in CHARACTERISTICS for full in (c.name, *c.full_names())}


def characteristic_of(full_name: str) -> Characteristic | None:
    """Return the characteristic behind `hall_placement` or `hall_placement.b`, or None."""
    return BY_FULL_NAME.get(full_name)


def unit_of(full_name: str) -> str:
    """Return the unit of a full name; KeyError for a name outside the contract."""
    return BY_FULL_NAME[full_name].unit
