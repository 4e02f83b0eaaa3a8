"""Signatures at rest and in what turns the motor: insulation, sensor current, drag."""

from collections.abc import Iterator, Mapping

from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement

Measurements = Mapping[str, Measurement]

NO_CURRENT_MA = 0.5   # the sensors are without supply; pull-ups alone draw more in any two states


def rest_causes(rest: Measurements, suspicion: Suspicion, brakes: str) -> Iterator[Finding]:
    """Yield what insulation, drag and sensor current point to, each only where its limit failed.

    `rest` may hold drag by capture, as `drag_torque@forward 1500`; `brakes` says what fault of the
    winding was found that brakes as well, or is empty.
    """
    insulation = rest.get("insulation_resistance")
    if insulation is not None and suspicion.any("insulation_resistance", unjudged=False):
        yield Finding("insulation_low", f"Insulation resistance is {insulation.value:.3g} Mohm: damaged insulation, "
                      "moisture or dirt between winding and frame. Drying the motor and measuring again tells moisture "
                      "from damage.")
    drags = {key.partition("@")[2]: each.value for key, each in rest.items() if key.split("@")[0] == "drag_torque"}
    if drags and suspicion.any("drag_torque", unjudged=False):
        yield _drag(drags, brakes)
    current = rest.get("sensor_supply_current")
    if current is not None and suspicion.any("sensor_supply_current", unjudged=False):
        yield _current(current.value, suspicion)


def _drag(drags: Mapping[str, float], brakes: str) -> Finding:
    listed = ", ".join(f"{value:.3g} mN m" + (f" at {label}" if label else "") for label, value in drags.items())
    if brakes:
        return Finding("drag_high", f"The motor takes {listed} to turn, and {brakes} brakes as well: whether bearings "
                       "drag too can only be told once the winding is sound.")
    return Finding("drag_high", f"The motor takes {listed} to turn: bearing, seal or rubbing rotor; or shorted turns, "
                   "whose drag grows with speed. Compare two speeds.")


def _current(milliamps: float, suspicion: Suspicion) -> Finding:
    if milliamps < NO_CURRENT_MA:
        return Finding("hall_supply_missing", f"The Hall sensors take {milliamps:.2f} mA: their supply lead or "
                       "connector is open.")
    sides = (suspicion.sides or {}).get("sensor_supply_current", frozenset())
    if "high" in sides:
        return Finding("sensor_current_high", f"The Hall sensors take {milliamps:.2f} mA: a short in sensors or wires.")
    return Finding("sensor_current_low", f"The Hall sensors take {milliamps:.2f} mA: a sensor or its supply lead is "
                   "open.")
