"""A conclusion drawn ahead counts only while nothing has come in since; it is the one drawn at the end, then."""

from dataclasses import replace
from pathlib import Path

import pytest

from station.analysis.budget import measurement
from station.analysis.result import CaptureAnalysis
from station.judgement.limit_file import parse_limits
from station.measurement import BudgetRow
from station.sequence.concluding import conclude_run
from station.toml_file import read_toml

LIMITS = parse_limits(read_toml(Path(__file__).parents[2] / "limits" / "CP-40.toml"))
LABELS = ("forward 1000", "reverse 1000")


def value(name, number):
    return measurement(name, number, [BudgetRow("reading", "B", "normal", 0.01, float("inf"))])


def indicated(**numbers):
    return {(name, ""): value(name, number) for name, number in numbers.items()}


@pytest.fixture
def analyses():
    return [CaptureAnalysis(label=label, measurements={"thd.ab": value("thd.ab", 3.0)}, findings=(), refused=None)
            for label in LABELS]


def test_what_is_unchanged_holds_and_values_of_captures_may_have_been_gathered_since(analyses):
    before = indicated(sensor_supply_current=9.0)
    ahead = conclude_run(analyses, before, LABELS, LIMITS)
    gathered = before | {("thd.ab", label): analyses[0].measurements["thd.ab"] for label in LABELS}
    assert ahead.holds_for(analyses, gathered)
    at_the_end = conclude_run(analyses, gathered, LABELS, LIMITS)
    assert replace(at_the_end, measured=before) == ahead


@pytest.mark.parametrize("change", [
    pytest.param(lambda a, m: (a, m | indicated(insulation_resistance=1.0)), id="a value has come in"),
    pytest.param(lambda a, m: (a, indicated(sensor_supply_current=8.0)), id="a value has changed"),
    pytest.param(lambda a, m: (a, {}), id="a value is gone"),
    pytest.param(lambda a, m: (a[:1], m), id="a capture is gone"),
    pytest.param(lambda a, m: ([*a, replace(a[0], label="forward 2000")], m), id="a capture has come in"),
    pytest.param(lambda a, m: ([a[0], replace(a[1])], m), id="a capture was analysed again"),
])
def test_anything_that_changed_since_asks_for_another(analyses, change):
    ahead = conclude_run(analyses, indicated(sensor_supply_current=9.0), LABELS, LIMITS)
    assert not ahead.holds_for(*change(analyses, indicated(sensor_supply_current=9.0)))
