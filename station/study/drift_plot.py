"""Control charts of the reference motors as plots."""

import numpy as np
from matplotlib.axes import Axes

from station.study.drift import Chart, DriftRules
from station.study.picture import GREY, INK, RED, Picture, house_figure, picture, plain_name


def drift_plot(chart: Chart, rules: DriftRules) -> Picture:
    """Return a chart: above single checks with their limits, below the weighted average with its own."""
    with house_figure(7.6, 4.2) as figure:
        above, below = figure.subplots(2, 1, sharex=True)
        _single(above, chart, rules)
        _average(below, chart)
        below.set_xlabel("reference check")
        below.xaxis.get_major_locator().set_params(integer=True)
        figure.suptitle(f"{chart.key}: {chart.latest.state}", x=0.01, ha="left", fontsize=9, fontweight="bold")
        return picture("drift-" + plain_name(f"{chart.serial}-{chart.name}-{chart.label}"), figure)


def _single(axes: Axes, chart: Chart, rules: DriftRules) -> None:
    checks = [point.check for point in chart.points]
    deviations = [np.nan if point.deviation is None else point.deviation for point in chart.points]
    spreads = np.array([point.spread for point in chart.points])
    for factor, line in ((rules.warn, ":"), (rules.stop, "--")):
        for sign in (-1.0, 1.0):
            axes.step(checks, sign * factor * spreads, where="mid", color=GREY, linewidth=0.8, linestyle=line)
    axes.plot(checks, deviations, color=INK, linewidth=0.7, marker="o", markersize=3)
    _mark(axes, chart, deviations)
    axes.axhline(0.0, color=GREY, linewidth=0.6)
    axes.set_ylabel("deviation / u")


def _average(axes: Axes, chart: Chart) -> None:
    checks = [point.check for point in chart.points]
    edges = np.array([point.average_limit for point in chart.points])
    for sign in (-1.0, 1.0):
        axes.step(checks, sign * edges, where="mid", color=GREY, linewidth=0.8, linestyle="--")
    averages = [point.average for point in chart.points]
    axes.plot(checks, averages, color=INK, linewidth=0.9, marker="s", markersize=3)
    _mark(axes, chart, averages)
    axes.axhline(0.0, color=GREY, linewidth=0.6)
    axes.set_ylabel("weighted average / u")


def _mark(axes: Axes, chart: Chart, values: list[float]) -> None:
    """Ring what signals: by shape, not by colour alone."""
    there = [(point.check, value) for point, value in zip(chart.points, values, strict=True)
             if point.state in ("warning", "stop") and np.isfinite(value)]
    if there:
        axes.plot(*zip(*there, strict=True), linestyle="", marker="o", markersize=9, markerfacecolor="none",
                  markeredgecolor=RED)
