"""The bound that is moved: what passes wherever it stands, and the values that it parts."""

import numpy as np

from station.judgement.decision_rule import acceptance
from station.judgement.limit_file import LimitFile
from station.screens.still_charts import Chart
from station.screens.svg import Drawing, Frame, even_marks
from station.screens.what_if_asked import Asked
from station.study.capability import proportions
from station.study.limit_study import LimitStudy
from station.study.limit_values import LimitValues
from station.units import printed

BINS = 60
SHARE_OF_BARS = 0.42        # of the height: the values below the curve
MARKS = (0.0, 25.0, 50.0, 75.0, 100.0)      # %
ROWS = 16                   # of the table beside it


def moved_chart(study: LimitStudy, found: LimitValues, asked: Asked, in_force: LimitFile | None,
                ends: tuple[float, float]) -> Chart:
    """Return first-pass yield over where the bound stands, above the values that it covers, as drawing and table."""
    unit = printed(study.unit)
    shares = proportions(study.passed, study.first_tests) if study.first_tests else ()
    frame = Frame(ends, (-SHARE_OF_BARS * 100, 112.0), height=380.0, top=18.0)
    drawing = Drawing(frame, f"{study.side} limit of {study.key}",
                      f"First-pass yield in percent over the limit in {unit or 'counts'}, with its interval; below it "
                      "how many values there are.")
    drawing.axes([(x, f"{x:.6g}") for x in even_marks(*ends, 7)], [(y, f"{y:g} %") for y in MARKS])
    _draw_values(drawing, found, ends)
    curve = sorted(zip(study.alone.bounds, shares, strict=False), key=lambda one: one[0])
    drawing.line([(bound, 100.0 * share.low) for bound, share in curve], "interval")
    drawing.line([(bound, 100.0 * share.high) for bound, share in curve], "interval")
    drawing.line([(bound, 100.0 * share.value) for bound, share in curve], "yield")
    for place, (kind, bound, words) in enumerate(_lines(asked, found, in_force)):
        if ends[0] <= bound <= ends[1]:
            drawing.line([(bound, drawing.frame.y[0]), (bound, 106.0)], kind)
            drawing.text((bound, 106.0), words, "name", down=-2.0 if place == 0 else 12.0)
    step = max(1, len(curve) // ROWS)
    rows = [(f"{bound:.6g}", str(round(share.value * study.first_tests)), f"{100 * share.value:.2f}",
             f"{100 * share.low:.2f} … {100 * share.high:.2f}") for place, (bound, share) in enumerate(curve)
            if place % step == 0 or bound == study.draft]
    return Chart(drawing.markup(), (f"limit, {unit}" if unit else "limit", f"pass of {study.first_tests}", "yield, %",
                                    "95 %"), tuple(rows))


def _draw_values(drawing: Drawing, found: LimitValues, ends: tuple[float, float]) -> None:
    counts, edges = np.histogram(found.values, BINS, ends)
    most = int(counts.max(initial=0))
    low = -SHARE_OF_BARS * 100
    for count, left, right in zip(counts.tolist(), edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if count:
            drawing.bar((left, low), (right, low + 0.85 * -low * count / most), "bin")


def _lines(asked: Asked, found: LimitValues, in_force: LimitFile | None) -> list[tuple[str, float, str]]:
    """Return kind, place and words of the lines: in force, moved, and from where values are accepted."""
    shown, lines = asked.shown, list[tuple[str, float, str]]()
    own = next((one for one in in_force.limits if one.key == shown.limit.key), None) if in_force else None
    before = None if own is None else own.lower if shown.side == "lower" else own.upper
    unit = printed(shown.limit.unit)
    if before is not None:
        lines.append(("force", before, f"in force {before:.6g} {unit}"))
    lines.append(("moved", shown.bound, "" if shown.bound == before else f"moved {shown.bound:.6g} {unit}"))
    zone = acceptance(shown.limit.lower, shown.limit.upper, found.u, asked.limits.decision_of(shown.limit))
    edge = None if zone is None else zone.lower if shown.side == "lower" else zone.upper
    if edge is not None and edge != shown.bound:
        lines.append(("accepted", edge, ""))
    return lines
