"""The still charts of a study: how one characteristic spreads, over the tests, and beside the normal distribution."""

from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.screens.interval_bars import interval_bars
from station.screens.still_charts import Chart
from station.screens.svg import SHAPES, Drawing, Frame, around, even_marks
from station.study.type_digest import Pair, TypeDigest, Values
from station.units import printed

Floats = NDArray[np.float64]

BINS = 40               # at most
SHAPED = 3000           # tests up to which lots are told apart by their marks; of more there is a dot each
DRAWN = 600             # points of a normality plot; of more, evenly taken ones and all of the ends
ENDS = 50
FACTORS = (1.0, 1.33)   # of an index: bare, and what is wished for; common practice, no source


def histogram(told: Mapping[str, Any], of: Values, draft: Pair | None) -> Chart:
    """Return the histogram with tolerance, acceptance limits and those of a draft, and the fitted curve."""
    values, unit = of.values, printed(told["unit"])
    usual = np.delete(values, of.far)
    limits = [bound for pair in _lines(told, of, draft).values() for bound in pair if bound is not None]
    edges = np.histogram_bin_edges(usual, bins=min(BINS, max(8, int(1.5 * np.sqrt(usual.size)))))
    counts, _ = np.histogram(usual, bins=edges)
    step = float(edges[1] - edges[0])
    most = float(max(counts.max(initial=1), 1 if of.curve is None else of.curve.density.max() * values.size * step))
    drawing = Drawing(Frame(around([*edges, *limits], 0.03), (0.0, 1.22 * most), height=340.0),
                      f"How {told['key']} spreads", f"Motors by value in {unit or 'counts'}, with the limits.")
    drawing.axes(_named(even_marks(*drawing.frame.x, 7)), _named(even_marks(0.0, most)))
    low, high = _open(told["lower"], -np.inf), _open(told["upper"], np.inf)
    for left, right, count in zip(edges, edges[1:], counts, strict=False):
        if count:
            outside = left >= high or right <= low
            drawing.bar((float(left), 0.0), (float(right), float(count)), "bin beyond" if outside else "bin")
    if of.curve is not None:
        drawing.line([(float(x), float(y) * values.size * step) for x, y in
                      zip(of.curve.places, of.curve.density, strict=True)], "curve")
    _draw_limits(drawing, _lines(told, of, draft), 1.2 * most, down=True)
    rows = [(_text(float(left)), _text(float(right)), str(int(count)))
            for left, right, count in zip(edges, edges[1:], counts, strict=False)]
    beside = values.size - usual.size
    rows += [("beyond", "the drawing", str(beside))] if beside else []
    return Chart(drawing.markup(), ("from", f"to, {unit}" if unit else "to", "motors"), tuple(rows))


def order_chart(told: Mapping[str, Any], of: Values, whole: TypeDigest, draft: Pair | None) -> Chart:
    """Return every value in the order of the tests, by lot, with the median of each; its table tells of each lot."""
    names, lots = whole.said["lots"], whole.lots[of.rows]
    values, limits = of.values, _lines(told, of, draft)
    bounds = [bound for pair in limits.values() for bound in pair]
    tests = len(whole.serials)
    frame = Frame((-0.5, max(tests - 0.5, 1.0)), around([*np.delete(values, of.far), *bounds]), height=360.0)
    drawing = Drawing(frame, f"{told['key']} in the order of the tests", f"Value in {printed(told['unit'])} over the "
                      "number of the test; marks by lot, a line at the median of each.")
    drawing.axes(_named(even_marks(0, tests, 7)), _named(even_marks(*frame.y, 6)))
    shapes = list(SHAPES) if values.size <= SHAPED and len(names) > 1 else ["dot"]
    inside = np.clip(values, *frame.y)          # what lies far outside is drawn at the edge
    for number in range(len(names)):
        mine = np.flatnonzero(lots == number)
        points = zip(of.rows[mine].tolist(), inside[mine].tolist(), strict=True)
        drawing.marks(points, f"group{number % len(SHAPES)}", shapes[number % len(shapes)])
        if mine.size > 1:
            first, last, middle = float(of.rows[mine[0]]), float(of.rows[mine[-1]]), float(np.median(values[mine]))
            drawing.line([(first, middle), (last, middle)], "median")
            drawing.text(((first + last) / 2, frame.y[1]), str(names[number]), "name", down=14)
    _draw_limits(drawing, limits, frame.x[1], down=False)
    return Chart(drawing.markup(), ("lot", *SUMMARY), summaries(told, of, whole.lots[of.rows], names))


SUMMARY = ("motors", "mean", "s", "least", "largest", "outside the tolerance")


def summaries(told: Mapping[str, Any], of: Values, groups: NDArray[np.int64], names: Sequence[str]
              ) -> tuple[tuple[str, ...], ...]:
    """Return a row for each group: its name, then as SUMMARY; groups without a value are left out."""
    low, high = _open(told["lower"], -np.inf), _open(told["upper"], np.inf)
    rows = []
    for number, name in enumerate(names):
        mine = of.values[groups == number]
        if mine.size:
            s = _text(float(mine.std(ddof=1)), 3) if mine.size > 1 else "–"
            rows.append((str(name), str(mine.size), _text(float(mine.mean())), s, _text(float(mine.min())),
                         _text(float(mine.max())), str(int(((mine < low) | (mine > high)).sum()))))
    return tuple(rows)


def normality_chart(told: Mapping[str, Any], of: Values) -> Chart | None:
    """Return the values over the quantiles that a normal distribution would have; None with fewer than three.

    Source: plotting positions (i - 3/8) / (n + 1/4) of Blom 1958 (from memory).
    """
    ordered = np.sort(np.delete(of.values, of.far))
    n = ordered.size
    if n < 3 or ordered[0] == ordered[-1]:
        return None
    places = np.arange(n)
    if n > DRAWN:
        middle = np.linspace(ENDS, n - 1 - ENDS, DRAWN - 2 * ENDS).astype(int)
        places = np.unique(np.concatenate([places[:ENDS], middle, places[-ENDS:]]))
    normal = NormalDist()
    quantiles = [normal.inv_cdf((int(i) + 0.625) / (n + 0.25)) for i in places]
    mean, s = float(ordered.mean()), float(ordered.std(ddof=1))
    ends = quantiles[0], quantiles[-1]
    drawing = Drawing(Frame(around(ends), around([*ordered[[0, -1]], *(mean + s * z for z in ends)]), height=340.0),
                      f"Is {told['key']} normal?", "Values over the standard deviations at which a normal distribution "
                      "would have them; normal values lie along the line."
                      + (f" {of.far.size} far outside are left out." if of.far.size else ""))
    drawing.axes([(z, f"{z:+g} s" if z else "mean") for z in range(-4, 5) if ends[0] <= z <= ends[1]],
                 _named(even_marks(*drawing.frame.y, 6)))
    drawing.line([(z, mean + s * z) for z in ends], "curve")
    drawing.marks(zip(quantiles, ordered[places].tolist(), strict=True), "group0")
    rows = [(f"{100 * share:g} %", _text(float(np.quantile(ordered, share))), _text(mean + s * normal.inv_cdf(share)))
            for share in (0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99)]
    return Chart(drawing.markup(), ("share below", "value", "if normal"), tuple(rows))


def index_chart(rows: Sequence[Mapping[str, Any]]) -> Chart | None:
    """Return the indices of characteristics with their intervals, in the order given; None where none has one."""
    there = [(row["key"], row["index"]) for row in rows if row["index"] and row["index"]["value"] is not None]
    if not there:
        return None
    bars = [(key, one["value"], one["low"], one["high"]) for key, one in there]
    drawing, table = interval_bars("Indices with their 95 % intervals", "Ppk of each characteristic; lines at "
                                   f"{FACTORS[0]:g} and {FACTORS[1]:g}.", bars, FACTORS, most=3.0)
    return Chart(drawing.markup(), ("characteristic", "Ppk", "low", "high"), table)


def _lines(told: Mapping[str, Any], of: Values, draft: Pair | None) -> dict[str, Pair]:
    """Return the limits to be drawn by the kind of their line."""
    lines: dict[str, Pair] = {"tolerance": (told["lower"], told["upper"])}
    if of.accepted is not None and of.accepted != lines["tolerance"]:
        lines["accepted"] = of.accepted
    return lines | ({} if draft is None else {"draft": draft})


def _draw_limits(drawing: Drawing, lines: Mapping[str, Pair], far: float, *, down: bool) -> None:
    """Draw limits across the drawing, `down` or along, each with its name where no other name stands."""
    frame = drawing.frame
    reach = frame.x if down else frame.y
    anchors = ("end", "start", "middle")
    for step, (kind, pair) in enumerate(lines.items()):
        at = (far, frame.x[0], (far + frame.x[0]) / 2)[step]
        for bound in pair:
            if bound is None or not min(reach) <= bound <= max(reach):
                continue
            if down:
                drawing.line([(bound, 0.0), (bound, far)], kind)
                drawing.text((bound, far), kind, "label", down=4.0 + 16.0 * step)
            else:
                drawing.line([(frame.x[0], bound), (far, bound)], kind)
                drawing.text((at, bound), kind, "label", anchors[step], down=-4.0)


def _open(bound: float | None, otherwise: float) -> float:
    return otherwise if bound is None else bound


def _named(places: Sequence[float]) -> list[tuple[float, str]]:
    return [(place, _text(place)) for place in places]


def _text(value: float, digits: int = 6) -> str:
    return f"{value:.{digits}g}"
