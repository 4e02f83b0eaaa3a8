"""Values with their intervals, a line each, as a still chart: indices, shares, standard deviations."""

from collections.abc import Sequence
from math import isfinite
from typing import Literal

from station.screens.svg import Drawing, Frame, even_marks

Bar = tuple[str, float, float | None, float | None]     # name, value, and the ends of its interval

LINE = 20.0         # units of the drawing for each bar


def interval_bars(title: str, told: str, bars: Sequence[Bar], marks: Sequence[float], *, most: float,
                  wanted: Literal["above", "below"] = "above") -> tuple[Drawing, tuple[tuple[str, ...], ...]]:
    """Draw each value with its interval, cut off at `most`, and lines across at `marks`; return drawing and table.

    A value on the wrong side of the last mark, as it is `wanted`, is a diamond instead of a dot.
    """
    ends = [end for _, value, _, high in bars for end in (value, high) if end is not None and isfinite(end)]
    top = min(most, max([1.05 * end for end in ends] + [1.2 * mark for mark in marks]))
    low = max(min([0.0, *(value for _, value, _, _ in bars)]), -top)
    frame = Frame((low, top), (len(bars) - 0.4, -0.6), height=44.0 + LINE * len(bars), left=330.0)
    drawing = Drawing(frame, title, told)
    drawing.axes([(x, f"{x:.6g}") for x in even_marks(low, top, 7)],
                 [(place, name) for place, (name, *_) in enumerate(bars)])
    for mark in marks:
        drawing.line([(mark, frame.y[0]), (mark, frame.y[1])], "accepted")
    for place, (_, value, least, largest) in enumerate(bars):
        drawing.line([(_within(value if end is None else end, frame.x), place) for end in (least, largest)], "interval")
        is_good = not marks or (value >= marks[-1] if wanted == "above" else value <= marks[-1])
        drawing.marks([(_within(value, frame.x), float(place))], "group0", "dot" if is_good else "diamond")
    return drawing, tuple((name, f"{value:.3g}", _text(least), _text(largest)) for name, value, least, largest in bars)


def _within(value: float, ends: tuple[float, float]) -> float:
    return min(max(value, ends[0]), ends[1])


def _text(value: float | None) -> str:
    return "–" if value is None else f"{value:.3g}"
