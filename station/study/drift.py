"""Whether the bench drifts, by control charts of the reference motors: a warning before motors are judged wrong."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, sqrt
from typing import Any, Literal, Protocol

from station.judgement.decision_rule import normal_cdf, normal_quantile
from station.units import printed

State = Literal["in control", "warning", "stop", "absent"]

SPREADS = 5.0                       # that the tolerance of a reference file has at least, see reference_draft
LEAST_SPREAD, MOST_SPREAD = 0.25, 1.0   # of u: half a standard uncertainty turns no verdict; three turn some
K = 2.0                             # U = K u


@dataclass(frozen=True, slots=True)
class DriftRules:
    """When a chart warns, and when it asks for a stop.

    `smoothing` and `limit` are those of the EWMA; `warn` and `stop` count spreads of a single point; `share` is the
    part of U that the mean may be off.
    """

    smoothing: float = 0.2
    limit: float = 2.962        # one false alarm in 500 checks
    warn: float = 2.0
    stop: float = 3.0
    share: float = 0.25

    def over(self, charts: int) -> "DriftRules":
        """Return rules by which `charts` at once signal by chance as seldom as one does by these.

        A check has some hundred and fifty charts, so that without this hardly one would pass without an alarm.
        Source: Bonferroni's inequality.
        """
        limit, warn, stop = (-normal_quantile(normal_cdf(-each) / max(charts, 1))
                             for each in (self.limit, self.warn, self.stop))
        return replace(self, limit=limit, warn=warn, stop=stop)


class DriftTable(Protocol):
    """The rules as the station file has them, see `DriftRules`."""

    @property
    def smoothing(self) -> float:
        """Weight of the newest check."""

    @property
    def ewma_limit(self) -> float:
        """Limit of the average, in its spreads."""

    @property
    def warn_s(self) -> float:
        """Spreads beyond which a point warns."""

    @property
    def stop_s(self) -> float:
        """Spreads beyond which a point is far off."""

    @property
    def stop_share_of_U(self) -> float:  # noqa: N802 - the unit as people write it
        """Part of U that the mean may be off."""


def rules_in(table: DriftTable | None) -> DriftRules:
    """Return the rules in a station file, or those that hold without any."""
    if table is None:
        return DriftRules()
    return DriftRules(table.smoothing, table.ewma_limit, table.warn_s, table.stop_s, table.stop_share_of_U)


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One check on a chart; numbers in u, the standard uncertainty of the value or of what is expected.

    The larger counts, not both: where one bench gave the two, their errors are mostly the same.
    """

    check: int
    started: str
    deviation: float | None     # from the value expected; None when it was not measured
    average: float              # exponentially weighted, of the deviations so far
    average_limit: float
    spread: float               # between checks, as the reference file allows it
    state: State
    why: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A characteristic of a reference motor over its checks, oldest first."""

    serial: str
    motor_type: str
    name: str
    label: str
    unit: str
    points: tuple[ChartPoint, ...]

    @property
    def latest(self) -> ChartPoint:
        """The newest point."""
        return self.points[-1]

    @property
    def key(self) -> str:
        """Motor and characteristic in words."""
        return f"{self.serial} {self.name}" + (f" @ {self.label}" if self.label else "")

    @property
    def size(self) -> float:
        """How far it is beyond its limits, or how near to them, for sorting."""
        point = self.latest
        single = abs(point.deviation or 0.0) / point.spread
        return max(single / 3.0, abs(point.average) / point.average_limit)


def charted(series: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the series that have an uncertainty: what has none, such as a count, is told by the check itself."""
    return [line for line in series if any(point["u"] for point in line["points"])]


def charts_of(series: Iterable[Mapping[str, Any]], rules: DriftRules) -> list[Chart]:
    """Return a chart of each series that has an uncertainty, those worst now first.

    `series` are those of `sequence.reference_history.drift`. A chart begins anew when bench file or expected value
    changed, or something was mended.
    """
    found = [Chart(line["serial"], line["motor_type"], line["name"], line["label"], line["unit"],
                   _points(line["points"], rules)) for line in charted(series)]
    order = {"stop": 0, "warning": 1, "absent": 2, "in control": 3}
    return sorted(found, key=lambda chart: (order[chart.latest.state], -chart.size, chart.key))


def current(charts: Iterable[Chart]) -> list[Chart]:
    """Return the charts whose newest point is of the newest check of their motor type."""
    found = list(charts)
    newest: dict[str, int] = {}
    for chart in found:
        newest[chart.motor_type] = max(newest.get(chart.motor_type, 0), chart.latest.check)
    return [chart for chart in found if chart.latest.check == newest[chart.motor_type]]


def _points(points: Sequence[Mapping[str, Any]], rules: DriftRules) -> tuple[ChartPoint, ...]:
    made: list[ChartPoint] = []
    count, average, spread, before = 0, 0.0, MOST_SPREAD, None
    for point in points:
        condition = (point["bench_sha256"], point["expected"])
        if point["done"] or condition != before:
            count, average, before = 0, 0.0, condition
        deviation, u = None, _uncertainty(point)
        if u is not None:
            deviation, spread = float(point["value"] - point["expected"]) / u, _spread(point["tolerance"] / u)
            count, average = count + 1, average + rules.smoothing * (deviation - average)
        edge = spread * _average_limit(count, rules)
        state, why = _state(deviation, average, edge, spread, rules)
        made.append(ChartPoint(point["check"], point["started"], deviation, average, edge, spread, state, why))
    return tuple(made)


def _uncertainty(point: Mapping[str, Any]) -> float | None:
    """Return what a deviation is counted in; None when there is no value, or none with an uncertainty."""
    if point["value"] is None or not point["u"] or not isfinite(point["u"]):
        return None
    return max(float(point["u"]), float(point["expected_u"] or 0.0))


def _spread(tolerance: float) -> float:
    """Return the standard deviation between checks that a tolerance allows, both in u.

    It is not taken from the checks: a few of them underestimate it too often where there are many charts, and
    many would take a drift into it.
    """
    return min(max(tolerance / SPREADS, LEAST_SPREAD), MOST_SPREAD)


def _average_limit(count: int, rules: DriftRules) -> float:
    """Return the limit of the average after `count` points, in spreads. Source: NIST handbook 6.3.2.4, from memory."""
    share = 1.0 - (1.0 - rules.smoothing) ** (2 * max(count, 1))
    return rules.limit * sqrt(rules.smoothing / (2.0 - rules.smoothing) * share)


def _state(deviation: float | None, average: float, edge: float, spread: float, rules: DriftRules
           ) -> tuple[State, str]:
    """Return the state after a point and why; a mean that is off stops only once it is no chance."""
    if deviation is None:
        return "absent", "not measured, or without uncertainty"
    drifts = abs(average) > edge
    said = f"{deviation:+.2g} u, on average {average:+.2g} u"
    if drifts and abs(average) > rules.share * K:
        return "stop", f"{said}: the mean is off by more than {rules.share:g} U"
    if abs(deviation) > rules.stop * spread:
        return "stop", f"{said}: beyond {rules.stop:g} spreads of {spread:.2g} u"
    if drifts:
        return "warning", f"{said}: drifts, the average is beyond {edge:.2g} u"
    if abs(deviation) > rules.warn * spread:
        return "warning", f"{said}: beyond {rules.warn:g} spreads of {spread:.2g} u"
    return "in control", said


def told(charts: Sequence[Chart], shown: int = 3) -> list[str]:
    """Return the sentences for people at the line: how many charts of how many warn, then the worst of them."""
    signals = [chart for chart in charts if chart.latest.state in ("stop", "warning")]
    if not signals:
        return []
    stops = sum(chart.latest.state == "stop" for chart in signals)
    head = (f"the reference motors drift: {len(signals)} of {len(charts)} charts beyond their limits, {stops} of them "
            "far; `station study drift` shows them")
    return [head, *(f"{chart.key}, {printed(chart.unit)}: {chart.latest.why}" for chart in signals[:shown])]
