"""The sensor supply step: power the Hall sensors and measure what they draw."""

from station.analysis.budget import measurement
from station.measurement import BudgetRow, Measurement
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import SensorSupplyStep
from station.units import from_si

CURRENT_LIMIT = 0.005   # relative; bench supply read-back, common practice, no source
CURRENT_FLOOR = 5e-5    # A


def sensor_supply(step: SensorSupplyStep, test: OngoingTest) -> None:
    """Switch the sensors on, let them settle, and measure their current."""
    supply = test.bench.supply
    supply.on(step.voltage_V, step.current_limit_A)
    test.sensor_supply = step
    with test.timing.phase("settling of the sensors", "physics"):
        test.clock.pause(step.settle_s)
    current = supply.current()
    test.conditions["sensor_supply_V"] = supply.voltage()
    test.add(measured_current(current))


def measured_current(current: float) -> Measurement:
    """Return what an indicated current, A, says of the sensors."""
    limit = current * CURRENT_LIMIT + CURRENT_FLOOR
    row = BudgetRow("supply read-back", "B", "rectangular", from_si(limit / 3**0.5, "mA"), float("inf"))
    return measurement("sensor_supply_current", from_si(current, "mA"), [row])
