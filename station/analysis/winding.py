"""Winding resistance at the reference temperature, from four-wire indications of the line pairs."""

from collections.abc import Mapping
from math import isfinite, sqrt

from station.analysis.budget import limit_of_error, measurement
from station.measurement import Measurement
from station.motor import LINES, MotorType


def at_temperature(resistance: float, measured_at: float, wanted_at: float, copper_constant: float = 235.0) -> float:
    """Return `resistance` (ohm), measured at one temperature, as it is at another (°C).

    Source: R2 = R1 (k + T2)/(k + T1), k = 235 for copper (IEC 60034-1, from memory).
    """
    return resistance * (copper_constant + wanted_at) / (copper_constant + measured_at)


def phase_resistances(lines: Mapping[str, float]) -> dict[str, float]:
    """Return the resistance (ohm) of star phases a, b, c from those of the lines. Derived."""
    ab, bc, ca = (lines[line] for line in LINES)
    return {"a": (ab + ca - bc) / 2, "b": (ab + bc - ca) / 2, "c": (bc + ca - ab) / 2}


def winding_resistance(
    indications: Mapping[str, float], temperature_c: float, motor_type: MotorType, gain: float, offset_ohm: float,
    temperature_u: float,
) -> dict[str, Measurement]:
    """Return winding_resistance of each line and their spread.

    Parameters
    ----------
    indications : ohm by line; infinite for an open line, which then has no measurement
    temperature_c : °C of the winding while measured
    gain, offset_ohm, temperature_u : limits of error: relative, ohm, K

    The spread needs all three lines; gain error and temperature cancel in it.
    """
    reference = motor_type.reference
    found = {}
    for line in LINES:
        indication = indications[line]
        if not isfinite(indication):
            continue
        value = at_temperature(indication, temperature_c, reference.temperature_c, reference.copper_constant_c)
        found[line] = measurement(f"winding_resistance.{line}", value, [
            limit_of_error("ohmmeter gain", value * gain, "ohmmeter gain"),
            limit_of_error("ohmmeter offset", offset_ohm),
            limit_of_error("winding temperature",
                           value * temperature_u / (reference.copper_constant_c + temperature_c), "temperature"),
        ])
    result = {m.name: m for m in found.values()}
    if len(found) == len(LINES):
        values = [m.value for m in found.values()]
        mean = sum(values) / 3
        spread = 100 * max(abs(value - mean) for value in values) / mean
        row = limit_of_error("ohmmeter offset", 100 * offset_ohm * sqrt(2 / 3) / mean)
        result["winding_resistance_spread"] = measurement("winding_resistance_spread", spread, [row])
    return result
