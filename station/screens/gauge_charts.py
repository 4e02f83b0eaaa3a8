"""The charts of a gauge study: how much of each tolerance the station takes, and the runs of one value."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.screens.interval_bars import interval_bars
from station.screens.still_charts import Chart
from station.screens.svg import SHAPES, Drawing, Frame, around, even_marks
from station.units import printed

Floats = NDArray[np.float64]

CHARTED = 25            # values in the chart of shares, those worst
GOOD, BAD = 10.0, 30.0  # % GRR, as `study.gauge`
WIDTH = 0.7             # of the place of a motor that its runs spread over
NAMES = {"repeatability": "repeatability", "operator": "operator", "interaction": "interaction",
         "gauge": "gauge, whole", "part": "motors", "total": "total"}


def shares_chart(values: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Return % GRR of the tolerance with its interval, the worst values first; None where none has a tolerance."""
    there = [(one["key"], one["percent_of_tolerance"]) for one in values if one.get("percent_of_tolerance")]
    bars = [(key, share["percent"], share["low"], share["high"]) for key, share in there
            if share["percent"] is not None][:CHARTED]
    if not bars:
        return None
    drawing, rows = interval_bars("Share of the tolerance", "% GRR of each value with its 95 % interval; lines at "
                                  f"{GOOD:g} and {BAD:g} %.", bars, (GOOD, BAD), most=100.0, wanted="below")
    return Chart(drawing.markup(), ("value", "% GRR", "low", "high"), rows)


def components_chart(told: Mapping[str, Any]) -> Chart:
    """Return the standard deviations that a value's spread consists of, with their intervals."""
    bars = [(NAMES[name], one["sd"], one["sd_low"], one["sd_high"]) for name, one in told["components"].items()]
    most = 1.3 * max(value for _, value, _, _ in bars) or 1.0
    drawing, rows = interval_bars(f"What {told['key']} spreads by", f"Standard deviations in {printed(told['unit'])} "
                                  "with their 95 % intervals.", bars, (), most=most)
    return Chart(drawing.markup(), ("component", f"s, {printed(told['unit'])}".rstrip(", "), "low", "high"), rows)


def runs_chart(told: Mapping[str, Any], values: Floats, motors: Sequence[str], levels: Sequence[str]) -> Chart:
    """Return every run of a value by motor and level, with the tolerance where it is near."""
    bounds = [told["lower"], told["upper"]]
    return _by_motor(told, values, motors, levels, f"Every run of {told['key']}", bounds, values.reshape(-1))


def deviations_chart(told: Mapping[str, Any], values: Floats, motors: Sequence[str], levels: Sequence[str]) -> Chart:
    """Return how far every run is from the mean of its motor, with two standard deviations of the gauge."""
    away = values - values.mean(axis=(1, 2), keepdims=True)
    s = told["components"]["gauge"]["sd"] or 0.0
    return _by_motor(told, away, motors, levels, f"Every run of {told['key']} less the mean of its motor",
                     [-2 * s, 2 * s], [*away.reshape(-1), -2 * s, 2 * s])


def _by_motor(told: Mapping[str, Any], values: Floats, motors: Sequence[str], levels: Sequence[str], title: str,
              bounds: Sequence[float | None], inside: Sequence[float] | Floats) -> Chart:
    count, repeats = len(levels), values.shape[2]
    frame = Frame((-0.6, len(motors) - 0.4), around(list(inside)), height=360.0, left=74.0, bottom=52.0, top=30.0)
    drawing = Drawing(frame, title, f"In {printed(told['unit'])}, by motor; marks by level: {', '.join(levels)}.")
    drawing.axes([(place, "") for place in range(len(motors))],
                 [(v, f"{v:.6g}") for v in even_marks(*frame.y, 6)])
    for place, motor in enumerate(motors):
        drawing.text((place, frame.y[0]), motor, "label", down=16 if place % 2 == 0 else 32)
    for bound in bounds:
        if bound is not None and frame.y[0] <= bound <= frame.y[1]:
            drawing.line([(frame.x[0], bound), (frame.x[1], bound)], "tolerance")
    shapes = list(SHAPES)
    for level in range(count):
        across = np.linspace(-0.5, 0.5, count * repeats + 1)[level * repeats:(level + 1) * repeats]
        points = [(place + WIDTH * float(x), float(values[place, level, run]))
                  for place in range(len(motors)) for run, x in enumerate(across)]
        kind, shape = f"group{level % len(shapes)}", shapes[level % len(shapes)]
        drawing.marks(points, kind, shape)
        _legend(drawing, level / count, levels[level], kind, shape)
    rows = tuple((motor, *(" ".join(f"{v:.6g}" for v in values[place, level]) for level in range(count)))
                 for place, motor in enumerate(motors))
    return Chart(drawing.markup(), ("motor", *levels), rows)


def _legend(drawing: Drawing, share: float, name: str, kind: str, shape: str) -> None:
    """Say above the drawing, at a share of its width, which mark is whose."""
    frame = drawing.frame
    across = frame.x[0] + share * (frame.x[1] - frame.x[0])
    above = frame.y[1] + 0.045 * (frame.y[1] - frame.y[0])
    drawing.marks([(across + 0.01 * (frame.x[1] - frame.x[0]), above)], kind, shape)
    drawing.text((across + 0.02 * (frame.x[1] - frame.x[0]), above), name, "label", "start", down=4.0)
