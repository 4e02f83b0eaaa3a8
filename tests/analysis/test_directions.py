"""Position and hysteresis from both directions."""

from math import inf

import numpy as np
import pytest
from hall_signals import Rotor, capture_of, lead, motor_type

from station.analysis.directions import combine_directions
from station.analysis.hall import analyse_hall
from station.analysis.result import CaptureAnalysis
from station.measurement import BudgetRow, Measurement


def placed(value, *rows):
    measurements = {}
    for sensor in "abc":
        name = f"hall_placement.{sensor}"
        measurements[name] = Measurement(name, value, "deg", 0.1, inf, rows)
    return CaptureAnalysis(label="", measurements=measurements, findings=(), refused=None, plot=None)


SCATTER = BudgetRow("scatter", "A", "normal", 0.03, 50)
TIME = BudgetRow("time of channel h_a", "B", "rectangular", 0.04, inf, shared="time of channel h_a")


def test_published_example():
    """Source: lags 7 forward and -1 in reverse give phi 4 and h 3; as placements 7 and 1."""
    found = combine_directions(placed(7.0, SCATTER), placed(1.0, SCATTER))
    for sensor in "abc":
        assert found[f"hall_position.{sensor}"].value == pytest.approx(4.0)
        assert found[f"hall_hysteresis.{sensor}"].value == pytest.approx(3.0)


def test_time_error_of_a_channel_cancels_in_the_position_and_stays_in_the_hysteresis():
    found = combine_directions(placed(0.0, SCATTER, TIME), placed(0.0, SCATTER, TIME))
    assert found["hall_position.a"].u == pytest.approx(0.03 / np.sqrt(2), rel=1e-6)
    assert found["hall_hysteresis.a"].u == pytest.approx(np.hypot(0.03 / np.sqrt(2), 0.04), rel=1e-6)


def test_angles_across_180_degrees_average_on_the_short_way():
    found = combine_directions(placed(179.0, SCATTER), placed(-179.0, SCATTER))
    assert abs(found["hall_position.b"].value) == pytest.approx(180.0)
    assert found["hall_hysteresis.b"].value == pytest.approx(-1.0)


def test_sensor_that_one_capture_lacks_is_left_out():
    forward, reverse = placed(1.0, SCATTER), placed(1.0, SCATTER)
    del reverse.measurements["hall_placement.c"]
    assert set(combine_directions(forward, reverse)) == {
        f"hall_{what}.{sensor}" for what in ("position", "hysteresis") for sensor in "ab"}


def test_delay_in_the_line_reads_as_hysteresis_not_as_position():
    """A line 20 us late at 100 Hz: 0.72 degrees; the sensor itself 3 degrees out of place."""
    found = []
    for frequency in (100.0, -100.0):
        rotor = Rotor(frequency)
        leads = {name: lead(rise + 3.0, lag=20e-6) for name, rise in zip("abc", (0, 120, 240), strict=True)}
        capture = capture_of(rotor, leads, np.random.default_rng(4))
        unaware = {name: type(each)(each.scale) for name, each in capture.channels.items()}   # lag not declared
        hall = analyse_hall(type(capture)(capture.codes, unaware, *(
            getattr(capture, name) for name in ("sample_interval", "start", "declared_speed", "drive_speed",
                                                "temperature_c"))), motor_type(), rotor)
        found.append(CaptureAnalysis(label="", measurements=hall.measurements, findings=(), refused=None, plot=None))
    both = combine_directions(*found)
    assert both["hall_position.b"].value == pytest.approx(3.0, abs=0.03)
    assert both["hall_hysteresis.b"].value == pytest.approx(0.72, abs=0.03)
