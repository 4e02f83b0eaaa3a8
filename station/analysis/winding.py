"""Winding resistance at the reference temperature, from four-wire indications of the line pairs."""

from collections.abc import Mapping
from math import isfinite, nan, sqrt

from station.analysis.budget import TEMPERATURE, limit_of_error, measurement, near_zero
from station.measurement import Measurement
from station.motor import LINES, MotorType, Winding


def at_temperature(resistance: float, measured_at: float, wanted_at: float, copper_constant: float = 235.0) -> float:
    """Return `resistance` (ohm), measured at one temperature, as it is at another (°C).

    Source: R2 = R1 (k + T2)/(k + T1), k = 235 for copper (IEC 60034-1, from memory).
    """
    return resistance * (copper_constant + wanted_at) / (copper_constant + measured_at)


def phase_resistances(lines: Mapping[str, float], winding: Winding = "star") -> dict[str, float]:
    """Return the resistance (ohm) of each phase from those between the leads.

    A star has phases a, b, c from its leads to the star point; a delta has phases ab, bc, ca, each
    between the two leads it is named after. All three lines must be closed. Derived; for the delta
    from the star with the same resistances between leads (Kennelly's transformation, from memory).
    """
    ab, bc, ca = (lines[line] for line in LINES)
    a, b, c = (ab + ca - bc) / 2, (ab + bc - ca) / 2, (bc + ca - ab) / 2
    if winding == "star":
        return {"a": a, "b": b, "c": c}
    products = a * b + b * c + c * a
    return {"ab": products / c, "bc": products / a, "ca": products / b}


def winding_resistance(
    indications: Mapping[str, float], temperature_c: float, motor_type: MotorType, gain: float, offset_ohm: float,
    temperature_u: float,
) -> dict[str, Measurement]:
    """Return winding_resistance of each line and their spread.

    Parameters
    ----------
    indications : ohm by line; an open line is infinite and has no measurement, and neither has one
        that was not indicated or is not a number: what was not measured is left out, never guessed
    temperature_c : °C of the winding while measured
    gain, offset_ohm, temperature_u : limits of error: relative, ohm, K

    The spread needs all three lines, with some resistance; gain error and temperature cancel in it.
    """
    reference = motor_type.reference
    def at_reference(ohm: float) -> float:
        return at_temperature(ohm, temperature_c, reference.temperature_c, reference.copper_constant_c)

    found = {}
    for line in LINES:
        indication = indications.get(line, nan)
        if not isfinite(indication):
            continue
        value = at_reference(indication)
        found[line] = measurement(f"winding_resistance.{line}", value, [
            limit_of_error("ohmmeter gain", value * gain, "ohmmeter gain"),
            limit_of_error("ohmmeter offset", at_reference(offset_ohm)),
            limit_of_error(TEMPERATURE, value * temperature_u / (reference.copper_constant_c + temperature_c),
                           TEMPERATURE),
        ])
    result = {m.name: m for m in found.values()}
    mean = sum(m.value for m in found.values()) / 3
    if len(found) == len(LINES) and mean > 0:
        values = [m.value for m in found.values()]
        spread = 100 * max(abs(value - mean) for value in values) / mean
        row = limit_of_error("ohmmeter offset", 100 * at_reference(offset_ohm) * sqrt(2 / 3) / mean)
        result["winding_resistance_spread"] = measurement("winding_resistance_spread", spread,
                                                          near_zero([row], spread))
    return result
