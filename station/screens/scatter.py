"""Two characteristics of the same tests against each other, verdicts told apart by shape and by colour."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.screens.still_charts import Chart
from station.screens.svg import Drawing, Frame, around, even_marks
from station.study.type_digest import TypeDigest, Values
from station.units import printed

Told = tuple[Mapping[str, Any], Values]
NAMED = 50      # failed tests in the table


@dataclass(frozen=True, slots=True)
class Scatter:
    """The chart, how many tests have both values, and their rank correlation; None where it is not known."""

    chart: Chart
    tests: int
    r: float | None


def scatter(whole: TypeDigest, across: Told, up: Told) -> Scatter:
    """Return two characteristics over the tests that have both, with their limits; its table names the failed tests."""
    (told_x, x_of), (told_y, y_of) = across, up
    rows, first, second = np.intersect1d(x_of.rows, y_of.rows, return_indices=True)
    x, y, passed = x_of.values[first], y_of.values[second], whole.passed[rows]
    bounds_x, bounds_y = (told_x["lower"], told_x["upper"]), (told_y["lower"], told_y["upper"])
    frame = Frame(around([*x, *bounds_x]), around([*y, *bounds_y]), height=520.0, left=74.0)
    drawing = Drawing(frame, f"{told_y['key']} over {told_x['key']}", "Dots passed, crosses failed; lines are the "
                      "limits.")
    drawing.axes([(v, f"{v:.6g}") for v in even_marks(*frame.x, 7)], [(v, f"{v:.6g}") for v in even_marks(*frame.y, 7)])
    for bound in bounds_x:
        drawing.line([(bound, frame.y[0]), (bound, frame.y[1])] if bound is not None else (), "tolerance")
    for bound in bounds_y:
        drawing.line([(frame.x[0], bound), (frame.x[1], bound)] if bound is not None else (), "tolerance")
    drawing.marks(_points(x[passed], y[passed]), "passed", "dot")
    drawing.marks(_points(x[~passed], y[~passed]), "failed", "cross")
    table = tuple((whole.serials[row], str(whole.runs[row]), whole.verdicts[row], f"{a:.6g}", f"{b:.6g}")
                  for row, a, b in zip(rows[~passed], x[~passed], y[~passed], strict=True))[:NAMED]
    heads = ("failed motor", "run", "verdict", *(f"{told['key']} {printed(told['unit'])}".strip()
                                                 for told in (told_x, told_y)))
    return Scatter(Chart(drawing.markup(), heads, table), int(rows.size), _correlation(whole, told_x, told_y))


def _points(x: NDArray[np.float64], y: NDArray[np.float64]) -> list[tuple[float, float]]:
    return list(zip(x.tolist(), y.tolist(), strict=True))


def _correlation(whole: TypeDigest, told_x: Mapping[str, Any], told_y: Mapping[str, Any]) -> float | None:
    keys, r = whole.said["correlation"]["keys"], whole.said["correlation"]["r"]
    if told_x["key"] not in keys or told_y["key"] not in keys:
        return None
    found: float | None = r[keys.index(told_x["key"])][keys.index(told_y["key"])]
    return found
