"""The plots of the study of a type: distributions, indices, correlations."""

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from station.study.capability import Estimate
from station.study.correlation import Correlation
from station.study.fitted_curve import fitted_curve
from station.study.picture import GREY, GROUPS, INK, MARKS, PALE, RED, Picture, house_figure, picture, plain_name
from station.study.type_study import Row, TypeStudy
from station.study.weakness import BARE, CAPABLE
from station.units import printed

Floats = NDArray[np.float64]

BINS = 40           # at most
RANKED = 30         # characteristics in the plot of indices


def distribution_plot(whole: TypeStudy, row: Row) -> Picture:
    """Return histogram with tolerance and fitted curve, and beside it every value in the order of the tests by lot."""
    sample = row.study.sample
    with house_figure(7.6, 2.9) as figure:
        left, right = figure.subplots(1, 2, width_ratios=(1, 1.3))
        _histogram(left, row)
        _in_order(right, whole, row)
        figure.suptitle(f"{sample.key}: {row.study.n} motors", x=0.01, ha="left", fontsize=9, fontweight="bold")
        return picture("type-" + plain_name(sample.key), figure)


def index_plot(whole: TypeStudy) -> Picture:
    """Return the indices with their intervals, the weakest on top, and what they should reach."""
    there = [(row.study.sample.key, row.study.index) for row in whole.rows if row.study.index]
    rows = sorted((one for one in there if np.isfinite(one[1].value)), key=lambda one: one[1].value)[:RANKED]
    with house_figure(7.6, 1.0 + 0.2 * max(len(rows), 1)) as figure:
        axes = figure.subplots()
        for place, (_, index) in enumerate(rows):
            _bar(axes, place, index)
        for mark in (BARE, CAPABLE):
            axes.axvline(mark, color=GREY, linewidth=0.8, linestyle="--")
        axes.set_yticks(range(len(rows)), [key for key, _ in rows], fontsize=7)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlabel(f"Ppk with its 95 % interval; dashed: {BARE:g} and {CAPABLE:g}")
        return picture("type-indices", figure)


def correlation_plot(correlation: Correlation) -> Picture | None:
    """Return the matrix of rank correlations as shades; None with fewer than two characteristics."""
    count = len(correlation.keys)
    if count < 2:
        return None
    size = min(4.0 + 0.12 * count, 14.0)
    with house_figure(size, size) as figure:
        axes = figure.subplots()
        image = axes.imshow(np.ma.masked_invalid(correlation.r), vmin=-1, vmax=1, cmap="RdBu_r")
        font = max(2.5, min(7.0, 300 / count))
        axes.set_xticks(range(count), correlation.keys, rotation=90, fontsize=font)
        axes.set_yticks(range(count), correlation.keys, fontsize=font)
        figure.colorbar(image, ax=axes, shrink=0.5, label="rank correlation; blank: too few motors")
        return picture("type-correlation", figure)


def _histogram(axes: Axes, row: Row) -> None:
    sample = row.study.sample
    values = sample.values
    edges = np.histogram_bin_edges(values, bins=min(BINS, max(8, int(np.sqrt(values.size) * 1.5))))
    axes.hist(values, bins=edges.tolist(), color=PALE, edgecolor=GREY, linewidth=0.4)
    grid = np.linspace(edges[0], edges[-1], 300)
    found = fitted_curve(row.study, grid)
    if found is not None:
        words, density = found
        axes.plot(grid, density * values.size * (edges[1] - edges[0]), color=INK, linewidth=1.0, label=words)
        axes.legend(loc="upper left", bbox_to_anchor=(0, 1.12), frameon=False, fontsize=6.5)
    _limits(axes.axvline, row)
    axes.set_xlabel(printed(sample.unit) or "count")
    axes.set_ylabel("motors")


def _in_order(axes: Axes, whole: TypeStudy, row: Row) -> None:
    sample, of = row.study.sample, whole.population
    lots = of.lots[sample.rows]
    for number, name in enumerate(of.lot_names):
        mine = lots == number
        axes.plot(sample.rows[mine], sample.values[mine], MARKS[number % len(MARKS)], markersize=2.2, linestyle="none",
                  color=GROUPS[number % len(GROUPS)], label=name if len(of.lot_names) <= len(MARKS) else None)
    _limits(axes.axhline, row)
    if 1 < len(of.lot_names) <= len(MARKS):
        axes.legend(loc="upper left", bbox_to_anchor=(0, 1.12), ncols=len(of.lot_names), frameon=False, fontsize=6.5,
                    handletextpad=0.1)
    axes.set_xlabel("motor, in the order of the tests")


def _limits(line: object, row: Row) -> None:
    for limit in (row.study.sample.lower, row.study.sample.upper):
        if limit is not None and callable(line):
            line(limit, color=RED, linewidth=1.0)


def _bar(axes: Axes, place: int, index: Estimate) -> None:
    axes.plot((index.low, index.high), (place, place), color=GREY, linewidth=1.4)
    axes.plot(index.value, place, "o", markersize=4, color=INK if index.value >= CAPABLE else RED)
