"""Insulation, drag and sensor current: named only when their limit failed."""

from math import inf

import pytest

from station.analysis.rest_causes import rest_causes
from station.analysis.suspicion import suspicion
from station.characteristic import unit_of
from station.measurement import Measurement


def numbers(**values):
    return {name: Measurement(name, value, unit_of(name), 0.01, inf) for name, value in values.items()}


REST = numbers(insulation_resistance=12.0, sensor_supply_current=55.0)
DRAG = {f"drag_torque@{label}": Measurement("drag_torque", value, "mN m", 0.1, inf)
        for label, value in (("forward 1000", 50.0), ("forward 2000", 80.0))}


def causes(rest, failed, brakes=""):
    return list(rest_causes(rest, suspicion(failed), brakes))


def test_nothing_failed_nothing_said():
    assert causes(REST | DRAG, {}) == causes(REST | DRAG, None) == []


def test_insulation_gives_its_value():
    (found,) = causes(REST, {"insulation_resistance": "low"})
    assert found.code == "insulation_low"
    assert "12 Mohm" in found.text


def test_drag_gives_every_speed():
    (found,) = causes(DRAG, {"drag_torque@forward 2000": "high"})
    assert "50 mN m at forward 1000, 80 mN m at forward 2000" in found.text
    (found,) = causes(DRAG, {"drag_torque@forward 2000": "high"}, "the shorted winding")
    assert "the shorted winding brakes as well" in found.text


@pytest.mark.parametrize(("milliamps", "side", "code"), [
    (55.0, "high", "sensor_current_high"), (3.0, "low", "sensor_current_low"), (0.01, "low", "hall_supply_missing"),
])
def test_sensor_current(milliamps, side, code):
    (found,) = causes(numbers(sensor_supply_current=milliamps), {"sensor_supply_current": side})
    assert found.code == code
    assert f"{milliamps:.2f} mA" in found.text
