"""The winding step: four-wire resistance of the three line pairs, brought to the reference temperature."""

from collections.abc import Mapping
from math import isfinite

from station.analysis.winding import winding_resistance
from station.bench.roles import Ohmmeter
from station.measurement import Measurement
from station.motor import LINES, MotorType
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import WindingStep

# Limits of error of a four-wire ohmmeter in the range of small motors: common practice, no source.
GAIN_LIMIT = 1e-3          # relative
OFFSET_LIMIT = 5e-4        # ohm
TEMPERATURE_LIMIT = 1.0    # K, winding against sensor


def _measure(ohmmeter: Ohmmeter, pair: str) -> float:
    """Return the resistance of `pair`, ohm; over range only when it reads so twice, as relays and probes bounce."""
    first = ohmmeter.measure(pair)
    return first if isfinite(first) else ohmmeter.measure(pair)


def winding(_step: WindingStep, test: OngoingTest) -> None:
    """Measure all three pairs at rest, together with the temperature they were measured at."""
    ohmmeter, thermometer = test.bench.ohmmeter, test.bench.thermometer
    # Another instrument, asked by another thread: its answers cost no time of their own.
    ambient, warm = (test.workers.carrier.submit(each) for each in (thermometer.ambient, thermometer.winding))
    try:
        with test.timing.phase("readings at rest", "physics"):
            indications = {pair: _measure(ohmmeter, pair) for pair in LINES}
    finally:
        ohmmeter.release()
    test.conditions["ambient_temperature_degC"] = ambient.result()
    temperature = test.conditions["winding_temperature_degC"] = warm.result()
    for pair, resistance in indications.items():
        if not isfinite(resistance):
            test.say("note", f"winding {pair} is open: no resistance within the range")
    for measurement in measured_winding(indications, temperature, test.limits.motor_type):
        test.add(measurement)


def measured_winding(indications: Mapping[str, float], temperature: float, kind: MotorType) -> list[Measurement]:
    """Return what the indicated resistances of the pairs, ohm, say of the winding at `temperature`, °C."""
    return list(winding_resistance(indications, temperature, kind, GAIN_LIMIT, OFFSET_LIMIT,
                                   TEMPERATURE_LIMIT).values())
