"""What a gauge study says, in words and as JSON: every limited value, the worst first."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from math import inf, isfinite
from typing import Any

from station.study.anova import Ratio, Source
from station.study.gauge import BAD, GOOD, LEAST_NDC, POOL_ABOVE, Gauge, gauge_study
from station.study.gauge_records import Studied, StudyRuns
from station.study.variance_component import LEVEL, Component

FORMAT = 1

METHOD = (
    "Crossed analysis of variance, motors and operators both random. The interaction is pooled with repeatability "
    "where its p is above {pool_above:g}. Intervals ({level:.0%}): chi-square for one mean square, modified "
    "large-sample (Graybill and Wang; Ting and others) for sums and differences; a variance estimated below zero is "
    "given as zero. "
    "% GRR of the tolerance is six standard deviations of the gauge over its width; with one limit three of them over "
    f"the distance of the mean to it. Below {GOOD:g} % is good, above {BAD:g} % not capable; ndc should be {LEAST_NDC} "
    "or more, and is taken from the analysis of variance (the range method gives other figures).")

MEANS = {
    "refit": "Operator: the round, so what drifts from round to round. Interaction: putting the motor in anew. "
             "Repeatability: the same fitting, nothing touched.",
    "shift": "Operator: the shift. Interaction: what a shift does to some motors only. Repeatability: putting the same "
             "motor in anew within a shift.",
    "station": "Operator: the station. Interaction: what a station does to some motors only. Repeatability: putting "
               "the same motor in anew at a station.",
}
NAMED = 4          # values that were not studied named in a remark; the table has them all
COMPONENTS = ("repeatability", "operator", "interaction", "gauge", "part", "total")


@dataclass(frozen=True, slots=True)
class Row:
    """One value of the study and what came of it; no `gauge` where runs lack the value."""

    studied: Studied
    gauge: Gauge | None

    @property
    def exceeds_u(self) -> bool:
        """Whether the gauge scatters by more than the records claim as uncertainty, beyond doubt."""
        u = self.studied.u
        return self.gauge is not None and u is not None and self.gauge.gauge.sd_low > u

    @property
    def rank(self) -> tuple[bool, float, float]:
        """Order of concern: by % GRR; those without a study last, as remarks tell of them."""
        if self.gauge is None:
            return (True, 0.0, 0.0)
        share = self.gauge.of_tolerance
        return (False, -share.percent if share else inf, -(self.gauge.of_total or 0.0))


@dataclass(frozen=True, slots=True)
class GaugeReport:
    """A whole study, worst value first."""

    runs: StudyRuns
    pool_above: float
    rows: tuple[Row, ...]

    @property
    def method(self) -> str:
        """How the figures were made, in a paragraph."""
        return METHOD.format(pool_above=self.pool_above, level=LEVEL)

    @property
    def meaning(self) -> str:
        """What stands for operator, interaction and repeatability here."""
        return MEANS[self.runs.by]

    def remarks(self) -> Iterator[str]:
        """Yield what a reader must know before trusting the figures."""
        yield from self.runs.notes
        yield from self._unstudied()
        beyond = [row.studied.key for row in self.rows if row.exceeds_u]
        if beyond:
            yield (f"The station scatters by more than the uncertainty in its records claims: {', '.join(beyond)}. "
                   "Look for what its budget leaves out.")


    def _unstudied(self) -> Iterator[str]:
        """Yield which values could not be studied and for which motors, those of the same motors in one remark."""
        by_reason: dict[tuple[str, tuple[str, ...]], list[str]] = {}
        for row in self.rows:
            if row.gauge is None:
                by_reason.setdefault((row.studied.missing, row.studied.lacking), []).append(row.studied.key)
        for (missing, lacking), keys in by_reason.items():
            more = f" and {len(keys) - NAMED} more" if len(keys) > NAMED else ""
            yield (f"Not studied, as there is {missing} ({', '.join(lacking)}): {', '.join(keys[:NAMED])}{more}. "
                   "A faulty motor may be left out of the report.")


def gauge_report(runs: StudyRuns, pool_above: float = POOL_ABOVE) -> GaugeReport:
    """Return the study of every limited value."""
    rows = [Row(one, None if one.values is None else gauge_study(one.values, one.lower, one.upper,
                                                                 pool_above=pool_above)) for one in runs.studied]
    return GaugeReport(runs, pool_above, tuple(sorted(rows, key=lambda row: row.rank)))


def anova_rows(gauge: Gauge) -> list[tuple[str, Source, Ratio | None]]:
    """Return the lines of the analysis of variance as printed: source, its squares, and F and p where they belong."""
    table, ratios = gauge.anova, gauge.ratios
    pooled = [("pooled error", gauge.error, None)] if gauge.pooled else []
    return [("motor", table.part, ratios.part), ("operator", table.operator, ratios.operator),
            ("motor x operator", table.interaction, ratios.interaction),
            ("repeatability", table.repeatability, None), *pooled, ("total", table.total, None)]


def as_json(report: GaugeReport) -> dict[str, Any]:
    """Return everything, plain JSON; null where there is no finite number."""
    runs = report.runs
    return {"format": FORMAT, "study": runs.study, "by": runs.by, "motor_type": runs.motor_type,
            "motors": list(runs.motors), "levels": list(runs.levels), "repeats": runs.repeats,
            "started": runs.started, "ended": runs.ended, "plan_sha256": runs.plan_sha256,
            "pool_above": report.pool_above, "level": LEVEL, "method": report.method, "meaning": report.meaning,
            "remarks": list(report.remarks()), "values": [_row(row) for row in report.rows]}


def _row(row: Row) -> dict[str, Any]:
    studied, gauge = row.studied, row.gauge
    said: dict[str, Any] = {"key": studied.key, "unit": studied.unit, "lower": studied.lower, "upper": studied.upper,
                            "u": studied.u, "missing": studied.missing}
    if gauge is None:
        return said
    share = gauge.of_tolerance
    return said | {
        "mean": gauge.mean, "word": gauge.word, "pooled": gauge.pooled, "exceeds_u": row.exceeds_u,
        "percent_of_tolerance": None if share is None else _finite(asdict(share)),
        "percent_of_total": gauge.of_total, "ndc": gauge.ndc if isfinite(gauge.ndc) else None,
        "anova": {name: _source(source, ratio) for name, source, ratio in anova_rows(gauge)},
        "components": {name: _component(getattr(gauge, name)) for name in COMPONENTS}}


def _source(source: Source, ratio: Ratio | None) -> dict[str, Any]:
    return {"ss": source.ss, "dof": source.dof, "ms": source.ms,
            **({"f": ratio.f, "p": ratio.p} if ratio is not None else {})}


def _component(one: Component) -> dict[str, Any]:
    return _finite({"sd": one.sd, "sd_low": one.sd_low, "sd_high": one.sd_high, "variance": one.variance})


def _finite(numbers: Mapping[str, float]) -> dict[str, float | None]:
    return {name: number if isfinite(number) else None for name, number in numbers.items()}
