"""What a run comes to, from analyses and indications alone."""

import pytest

from station.analysis.result import CaptureAnalysis
from station.judgement.conclusion import both_directions, conclude, failed_sides
from station.judgement.limit_file import parse_limits
from station.measurement import BudgetRow, Measurement, Refusal
from station.toml_file import parse_toml

LIMITS = parse_limits(parse_toml(b"""
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
[sensors]
spacing_deg = 120
rise_deg = { a = 0.0, b = 120.0, c = 240.0 }
[revision]
number = "A"
[limits]
"hall_placement.a" = { unit = "deg", lower = -4.0, upper = 4.0 }
insulation_resistance = { unit = "Mohm", lower = 100.0 }
""", "CP-40.toml"))
INSULATION = Measurement("insulation_resistance", 500.0, "Mohm", 1.0, float("inf"))


def placed(label, degrees):
    row = BudgetRow("time of channel h_a", "B", "rectangular", 0.1, float("inf"))
    measured = Measurement("hall_placement.a", degrees, "deg", 0.1, float("inf"), (row,))
    return CaptureAnalysis(label, {measured.name: measured})


def test_both_directions_are_taken_at_the_highest_speed_trusted_in_both():
    captures = [placed("forward 1000", 1.0), placed("forward 2000", 5.0), placed("forward 3000", 9.0),
                placed("reverse 1000", -1.0), placed("reverse 2000", 3.0),
                CaptureAnalysis("reverse 3000", refused=Refusal("unsteady", "It was not steady."))]
    told = {m.name: m.value for m in both_directions(captures)}
    assert told == pytest.approx({"hall_position.a": 4.0, "hall_hysteresis.a": 1.0})
    assert both_directions(captures[:3]) == []


def test_values_of_captures_indications_and_both_directions_stand_together():
    found = conclude([placed("forward 1000", 1.0), placed("reverse 1000", 2.0)],
                     {("insulation_resistance", ""): INSULATION}, ["forward 1000", "reverse 1000"], LIMITS)
    assert found.judgement.verdict == "PASS"
    assert set(found.measurements) == {("insulation_resistance", ""), ("hall_placement.a", "forward 1000"),
                                       ("hall_placement.a", "reverse 1000"), ("hall_position.a", ""),
                                       ("hall_hysteresis.a", "")}


@pytest.mark.parametrize(("code", "verdict"), [("open_phase", "FAIL"), ("no_emf", "NO RESULT"), ("short", "NO RESULT")])
def test_only_what_a_refusal_proves_of_the_motor_fails_it(code, verdict):
    refused = CaptureAnalysis("forward 1000", refused=Refusal(code, "Nothing was measured."))
    found = conclude([refused], {("insulation_resistance", ""): INSULATION}, ["forward 1000"], LIMITS)
    assert found.judgement.verdict == verdict


@pytest.mark.parametrize(("degrees", "side"), [(9.0, "high"), (-9.0, "low")])
def test_sides_of_what_failed(degrees, side):
    found = conclude([placed("forward 1000", degrees)], {}, ["forward 1000"], LIMITS)
    assert failed_sides(found.judgement.rows) == {"hall_placement.a@forward 1000": side}
