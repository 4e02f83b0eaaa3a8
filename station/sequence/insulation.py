"""The insulation step: test voltage between winding and frame, and its confirmed discharge."""

from math import isfinite

from station.analysis.budget import measurement
from station.errors import BenchError
from station.measurement import BudgetRow, Measurement
from station.sequence.hazards import require_at_rest, sensors_unpowered
from station.sequence.ongoing_test import OngoingTest
from station.sequence_file import InsulationStep
from station.units import from_si

RESISTANCE_LIMIT = 0.05  # relative; insulation testers in their middle ranges, common practice, no source


def insulation(step: InsulationStep, test: OngoingTest) -> None:
    """Measure insulation resistance; the step ends only when the winding is discharged.

    The shaft must rest, and the sensors have no power meanwhile: a path through them must not reach the
    supply. Over range proves no contact, so it is no result: an open test lead reads the same.
    """
    test.require_guard()
    require_at_rest(test)
    with sensors_unpowered(test):
        resistance = _measure(step, test)
    test.add(measured_insulation(resistance))


def measured_insulation(resistance: float) -> Measurement:
    """Return what an indicated resistance, ohm, says of the insulation; BenchError when it is over range."""
    if not isfinite(resistance):
        raise BenchError("insulation resistance is over range", where="insulation tester",
                         expected="a value within the range", got="over range",
                         remedy="Check that the test leads reach winding and frame; an open lead reads so too.",
                         code="no_reading")
    megohms = from_si(resistance, "Mohm")
    row = BudgetRow("insulation tester", "B", "rectangular", megohms * RESISTANCE_LIMIT / 3**0.5, float("inf"))
    return measurement("insulation_resistance", megohms, [row])


def _measure(step: InsulationStep, test: OngoingTest) -> float:
    tester = test.bench.insulation
    test.say("note", f"insulation voltage on: {step.voltage_V:g} V between winding and frame")
    try:
        with test.timing.phase("dwell", "physics"):
            tester.apply(step.voltage_V, step.dwell_s)
            resistance = tester.resistance()
    finally:
        tester.off()
    with test.timing.phase("discharge", "physics"):
        test.wait_until(lambda: tester.voltage() < step.discharged_below_V, what="discharging the winding",
                        remedy="Keep the guard closed; do not touch the terminals; call maintenance.")
    test.say("note", f"winding discharged below {step.discharged_below_V:g} V")
    return resistance
