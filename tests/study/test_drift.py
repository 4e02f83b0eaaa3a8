"""Drift charts: what warns, what stops, and what a chart makes of few checks, gaps and repairs."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.judgement.decision_rule import normal_cdf
from station.study.drift import DriftRules, charts_of, current, told
from station.study.drift_plot import drift_plot

RULES = DriftRules()


def series_of(deviations, *, serial="R1", name="thd", u=0.1, expected=5.0, first=1, tolerance=5.0, **changes):
    """A series as the reference checks give it; `deviations` and `tolerance` in u, None for an absent value."""
    points = [{"started": f"2026-11-{k % 28 + 1:02d}T06:00:00.000Z", "check": first + k, "bench_sha256": "a",
               "done": "", "value": None if z is None else expected + z * u, "u": None if z is None else u,
               "expected": expected, "expected_u": 0.0, "tolerance": tolerance * u, **changes.get(f"at_{k}", {})}
              for k, z in enumerate(deviations)]
    return {"serial": serial, "motor_type": "CP-40", "name": name, "label": "forward 1000", "unit": "%",
            "points": points}


def chart_of(deviations, rules=RULES, **changes):
    chart, = charts_of([series_of(deviations, **changes)], rules)
    return chart


def test_weighted_average_and_its_limits_are_those_of_the_handbook():
    """Source: NIST handbook 6.3.2.4: z_t = λ y + (1 - λ) z, z_0 the target; limits k s sqrt(λ/(2-λ)(1-(1-λ)^2t))."""
    deviations = [0.5, -0.25, 1.0, 0.125]
    chart, average = chart_of(deviations), 0.0
    for t, (point, deviation) in enumerate(zip(chart.points, deviations, strict=True), start=1):
        average = 0.2 * deviation + 0.8 * average
        assert point.average == pytest.approx(average)
        assert point.average_limit == pytest.approx(2.962 * sqrt(0.2 / 1.8 * (1 - 0.8 ** (2 * t))))
        assert (point.spread, point.state) == (1.0, "in control")


@pytest.mark.parametrize(("last", "state"), [(1.9, "in control"), (2.1, "warning"), (-2.1, "warning"), (3.1, "stop"),
                                             (-3.1, "stop")])
def test_single_points(last, state):
    assert chart_of([0.0, 0.1, last]).latest.state == state


def test_a_slow_drift_warns_before_it_stops_and_long_before_a_motor_is_judged_wrongly():
    rng = np.random.default_rng(5)
    drifting = list(rng.normal(0, 0.1, 25)) + [0.02 * k + rng.normal(0, 0.1) for k in range(100)]
    points = chart_of(drifting, RULES.over(150), tolerance=1.0).points
    states = [point.state for point in points]
    assert set(states[:25]) == {"in control"}
    warned, stopped = states.index("warning"), states.index("stop")
    assert warned < stopped
    assert 0.02 * (warned - 25) < 0.6
    assert 0.5 < 0.02 * (stopped - 25) < 1.0                # the guard band of a limit is 1.65 u
    assert "the mean is off" in points[-1].why


@pytest.mark.parametrize(("tolerance", "spread"), [(0.5, 0.25), (2.5, 0.5), (4.0, 0.8), (50.0, 1.0)])
def test_the_spread_is_what_the_reference_file_allows_but_neither_tiny_nor_more_than_u(tolerance, spread):
    chart = chart_of([0.0, None, 0.0], tolerance=tolerance)
    assert [point.spread for point in chart.points] == pytest.approx([spread] * 3)


def test_many_charts_together_signal_by_chance_as_seldom_as_one():
    rules = RULES.over(150)
    for one, all_of_them in zip((RULES.limit, RULES.warn, RULES.stop), (rules.limit, rules.warn, rules.stop),
                                strict=True):
        assert 150 * normal_cdf(-all_of_them) == pytest.approx(normal_cdf(-one))
    assert RULES.over(1) == replace(RULES, limit=pytest.approx(RULES.limit), warn=pytest.approx(RULES.warn),
                                    stop=pytest.approx(RULES.stop))


def test_the_larger_uncertainty_counts():
    for expected_u, deviation in ((0.3, 4.0 / 3.0), (0.05, 4.0), (None, 4.0)):
        chart = chart_of([4.0], at_0={"expected_u": expected_u})
        assert chart.latest.deviation == pytest.approx(deviation)


def test_a_constant_offset_is_found_by_the_average_alone():
    for share, state in ((0.25, "stop"), (9.0, "warning")):
        states = [point.state for point in chart_of([1.5] * 40, replace(RULES, share=share)).points]
        assert (states[0], states[-1]) == ("in control", state)


def test_a_mean_that_may_be_off_by_chance_stops_nothing():
    first, later = chart_of([2.8]).latest, chart_of([2.8] * 4).latest
    assert first.average > RULES.share * 2.0
    assert (first.state, later.state) == ("warning", "stop")


def test_a_gap_is_told_and_keeps_the_average():
    chart = chart_of([0.5, None])
    assert (chart.latest.state, chart.latest.deviation) == ("absent", None)
    assert chart.latest.average == chart.points[0].average
    assert chart_of([0.5, None, 0.5]).latest.average == pytest.approx(0.2 * 0.5 + 0.8 * 0.1)


@pytest.mark.parametrize("change", [{"bench_sha256": "b"}, {"expected": 5.001}, {"done": "digitizer exchanged"}])
def test_a_chart_begins_anew(change):
    fresh = chart_of([1.0] * 5 + [0.0], at_5=change | ({"value": 5.001} if "expected" in change else {})).latest
    assert fresh.average == pytest.approx(0.0, abs=1e-9)
    assert chart_of([1.0] * 5 + [0.0]).latest.average > 0.5


def test_counts_without_uncertainty_make_no_chart():
    assert charts_of([series_of([0.0, 0.0], u=0.0)], RULES) == []
    assert charts_of([series_of([None, None])], RULES) == []


def test_the_worst_comes_first_and_only_the_newest_check_counts_now():
    rows = [series_of([0.0, 0.1], name="calm"), series_of([0.0, 3.5], name="far"), series_of([0.0, 2.5], name="near"),
            series_of([9.0], name="left out since")]
    charts = charts_of(rows, RULES)
    assert [chart.name for chart in charts] == ["left out since", "far", "near", "calm"]
    now = current(charts)
    assert [chart.name for chart in now] == ["far", "near", "calm"]
    assert told(now)[0].startswith("the reference motors drift: 2 of 3 charts beyond their limits, 1 of them far")
    assert told(now)[1].startswith("R1 far @ forward 1000, %: +3.5 u")
    assert told(current(charts_of(rows[:1], RULES))) == []


@settings(max_examples=30)
@given(st.lists(st.floats(-5, 5), min_size=1, max_size=40), st.floats(0.01, 100), st.floats(-1e3, 1e3))
def test_charts_know_neither_unit_nor_size(deviations, u, expected):
    one, other = chart_of(deviations), chart_of(deviations, u=u, expected=expected)
    for a, b in zip(one.points, other.points, strict=True):
        assert b.average == pytest.approx(a.average, abs=1e-6 * (1 + abs(expected) / u))
        assert b.deviation == pytest.approx(a.deviation, abs=1e-6 * (1 + abs(expected) / u))


@settings(max_examples=30)
@given(st.lists(st.floats(-5, 5), min_size=1, max_size=40))
def test_a_mirrored_chart_signals_alike(deviations):
    mirrored = chart_of([-z for z in deviations])
    assert [point.state for point in chart_of(deviations).points] == [point.state for point in mirrored.points]


def test_plots_are_the_same_each_time_and_bear_gaps():
    chart = chart_of([0.5, None, 2.5, 3.5])
    one, other = drift_plot(chart, RULES), drift_plot(chart, RULES)
    assert (one.svg, one.png) == (other.svg, other.png)
    assert one.name == "drift-R1-thd-forward-1000"
    assert one.png != drift_plot(chart_of([0.5, None, 2.5, 3.0]), RULES).png
