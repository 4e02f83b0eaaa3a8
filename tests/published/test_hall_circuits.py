"""Hall outputs with pull-up and cable, beside a star of windings, solved live by ngspice.

Source: ngspice (Debian's package): switches, resistances and capacitances. Expected: a pulled-up output rises by
its RC and passes half its swing RC ln 2 late; the falling edge has the collector's 100 ohm instead. Derived.
"""

from dataclasses import replace
from math import log

import pytest
from circuits import Coil, Timing, halls, lines_of, meters, star, transient
from machines import analyse_file, capture_of, motor_type, values_of

from station.analysis.directions import combine_directions

AT = Timing(periods=14, samples=800.37)  # so that edges fall everywhere between samples
PLACED = (3.0, -2.0, 0.5)
RISE_S, FALL_S = 10e3 * 1e-9 * log(2), 100 * 1e-9 * log(2)
PER_S = 360 * AT.frequency  # degrees


def _capture(folder, way):
    """Capture with the shaft turning `way`; in reverse the windings follow each other the other way round."""
    coils = [replace(Coil(), turned_deg=0.0 if way > 0 else -240.0 * k) for k in range(3)]
    solved = transient([*star(coils, AT), *meters(), *halls(PLACED, AT, way)], AT, folder)
    outputs = [solved[name] for name in ("ha", "hb", "hc")]
    capture = capture_of(lines_of(solved), way * AT.rpm, outputs, interval=AT.interval)
    return analyse_file(folder, capture, motor_type(4))


@pytest.fixture(scope="module")
def forward(tmp_path_factory):
    return _capture(tmp_path_factory.mktemp("forward"), 1)


@pytest.fixture(scope="module")
def reverse(tmp_path_factory):
    return _capture(tmp_path_factory.mktemp("reverse"), -1)


@pytest.mark.parametrize(("sensor", "declared", "placed"), [("a", 0, 3.0), ("b", 120, -2.0), ("c", 240, 0.5)])
def test_edges_forward(forward, sensor, declared, placed):
    """Rising edges 1.00 degree late at 6000 r/min, falling ones 0.01."""
    value = values_of(forward)
    rise, fall = declared + placed + RISE_S * PER_S, declared + placed + 180 + FALL_S * PER_S
    for name, expected in (("rise", rise), ("fall", fall)):
        apart = (value[f"hall_angle_{name}.{sensor}"] - expected + 180) % 360 - 180
        assert apart == pytest.approx(0, abs=0.1), name
    assert value[f"hall_placement.{sensor}"] == pytest.approx(placed + (RISE_S + FALL_S) / 2 * PER_S, abs=0.06)
    assert value[f"hall_duty.{sensor}"] == pytest.approx(50 - (RISE_S - FALL_S) * AT.frequency * 100, abs=0.03)


def test_levels_forward(forward):
    """5 V through the pull-up; the collector's share of it when low."""
    value = values_of(forward)
    for sensor in "abc":
        assert value[f"hall_high.{sensor}"] == pytest.approx(5.0, abs=0.01)
        assert value[f"hall_low.{sensor}"] == pytest.approx(5 * 100 / 10100, abs=0.01)
    assert (value["phase_order"], value["hall_order"]) == (1, 1)
    assert value["hall_forbidden"] == value["hall_bounce"] == value["hall_missing"] == 0


def test_both_directions_part_place_from_delay(forward, reverse):
    """The delay turns with the shaft and the place does not: position, and half the difference."""
    value = values_of(reverse)
    assert (value["phase_order"], value["hall_order"]) == (1, 1)
    both = combine_directions(forward, reverse)
    for sensor, placed in zip("abc", PLACED, strict=True):
        assert both[f"hall_position.{sensor}"].value == pytest.approx(placed, abs=0.05)
        assert both[f"hall_hysteresis.{sensor}"].value == pytest.approx((RISE_S + FALL_S) / 2 * PER_S, abs=0.06)
