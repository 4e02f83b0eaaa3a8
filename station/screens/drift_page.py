"""Drift of the bench for the engineer: the control charts of the reference motors, the worst first."""

from collections.abc import Sequence

from starlette.responses import Response

from station.errors import UsageError
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.pages import page
from station.screens.still_charts import Chart as StillChart
from station.screens.study_asked import whole
from station.screens.svg import Drawing, Frame, around, even_marks
from station.sequence.reference_history import drift
from station.study.drift import Chart, ChartPoint, DriftRules, charts_of, current, rules_in

NEWEST = "60"           # checks of each motor type; what was before weighs 2e-6 in the average
MOST = 1000
SIGNALS = ("stop", "warning")
HEADS = ("check", "started", "deviation / u", "average / u", "limit / u", "spread / u", "state", "why")


def _list(ask: Ask) -> Response:
    checks = _checks(ask)
    charts = _charts(ask, checks)
    now = [chart.latest.state for chart in current(charts)]
    return page(ask, "drift_list.html", charts=charts, checks=checks, rules=rules_in(ask.site.station.drift),
                counts={state: now.count(state) for state in ("stop", "warning", "absent", "in control")})


def _one(ask: Ask) -> Response:
    checks, name, label = _checks(ask), ask.given("name", 80), ask.given("capture", 80)
    serial, rules = ask.given("serial", 80), rules_in(ask.site.station.drift)
    found = [chart for chart in _charts(ask, checks, serial, name) if chart.label == label]
    if not found:
        raise UsageError("there is no such chart", where="drift", expected="a value of a reference motor",
                         got=f"{serial} {name} {label}".strip(), remedy="Follow a link of the list.")
    return page(ask, "drift_one.html", chart=found[0], checks=checks, rules=rules,
                drawn=[_single(found[0], rules), _average(found[0])])


def _charts(ask: Ask, checks: int, serial: str = "", name: str = "") -> list[Chart]:
    with ask.site.store() as store:
        series = drift(store.newest_reference_checks(checks), serial or None, name or None)
    return charts_of(series, rules_in(ask.site.station.drift))


def _checks(ask: Ask) -> int:
    number = whole(ask.given("checks", 6) or NEWEST, "checks")
    if not 1 <= number <= MOST:
        raise UsageError("so many checks are not charted", where="checks", expected=f"1 to {MOST}", got=number,
                         remedy="Ask for fewer; `station study drift` charts all.")
    return number


def _single(chart: Chart, rules: DriftRules) -> StillChart:
    """Return each check by itself, with what warns and what is far off; signals are ringed."""
    limits = [(kind, [(point, sign * factor * point.spread) for point in chart.points])
              for kind, factor in (("accepted", rules.warn), ("tolerance", rules.stop)) for sign in (-1.0, 1.0)]
    values = [(point, point.deviation) for point in chart.points]
    return _drawn(chart, "Each check", "Deviation from the expected value in standard uncertainties, by check; broken "
                  f"lines {rules.warn:g} and whole lines {rules.stop:g} spreads.", values, limits)


def _average(chart: Chart) -> StillChart:
    """Return the weighted average after each check, with its limit."""
    values = [(point, point.average) for point in chart.points]
    lines = [("tolerance", [(point, sign * point.average_limit) for point in chart.points]) for sign in (-1.0, 1.0)]
    return _drawn(chart, "Weighted average", "Exponentially weighted average of the deviations, in standard "
                  "uncertainties, by check; lines are its limits.", values, lines)


def _drawn(chart: Chart, title: str, told: str, values: Sequence[tuple[ChartPoint, float | None]],
           lines: Sequence[tuple[str, Sequence[tuple[ChartPoint, float]]]]) -> StillChart:
    checks = [float(point.check) for point in chart.points]
    inside = [value for _, value in values] + [edge for _, line in lines for _, edge in line]
    frame = Frame(around(checks, 0.03), around(inside))
    drawing = Drawing(frame, f"{chart.key}: {title}", told)
    marks = [x for x in even_marks(*frame.x, 8) if x == int(x)]
    drawing.axes([(x, f"{x:g}") for x in marks], [(y, f"{y:g}") for y in even_marks(*frame.y, 6)])
    for kind, line in lines:
        drawing.line([(float(point.check), edge) for point, edge in line], kind)
    there = [(point, value) for point, value in values if value is not None]
    drawing.line([(float(point.check), value) for point, value in there], "middle")
    for is_signal, kind, shape in ((False, "group0", "dot"), (True, "failed", "diamond")):
        drawing.marks([(float(point.check), value) for point, value in there
                       if (point.state in SIGNALS) == is_signal], kind, shape)
    return StillChart(drawing.markup(), HEADS, tuple(map(_row, chart.points)))


def _row(point: ChartPoint) -> tuple[str, ...]:
    return (str(point.check), point.started, "–" if point.deviation is None else f"{point.deviation:+.3g}",
            f"{point.average:+.3g}", f"{point.average_limit:.3g}", f"{point.spread:.3g}", point.state, point.why)


PAGES = (
    Page("/studies/drift", Duty.DRAFT, _list),
    Page("/studies/drift/chart", Duty.DRAFT, _one),
)
