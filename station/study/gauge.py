"""Gauge study: how much of what is measured is the station and not the motor; numbers in, numbers out.

The design is crossed: every motor under every operator, the same number of times. At an automatic station the
"operator" is whatever stands for other circumstances: a round of refitting, a shift, a station.
"""

from dataclasses import dataclass
from math import floor, inf

from station.study.anova import Crossed, Floats, Ratio, Source, crossed, variance_ratio
from station.study.variance_component import LEVEL, Component, Term, component

POOL_ABOVE = 0.25       # p of the interaction above which it is pooled; common practice; a note of AIAG has 0.05
SPREADS = 6.0           # standard deviations that count as the width of a spread (AIAG, from memory)
DISTINCT = 1.41         # of ndc: AIAG rounds the root of two (from memory)
GOOD, BAD = 10.0, 30.0  # % GRR: below is good, above is not capable, between is conditional (AIAG, from memory)
LEAST_NDC = 5           # distinct categories that a gauge should tell (AIAG, from memory)


@dataclass(frozen=True, slots=True)
class Share:
    """A per cent figure with its interval."""

    percent: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Ratios:
    """F and p of each source, against what it is to be held against."""

    part: Ratio
    operator: Ratio
    interaction: Ratio


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a crossed study says of one characteristic.

    `error` is the repeatability that counts: pooled with the interaction where that is no more than chance.
    `of_tolerance` is None without limits; with one limit it is what of the distance from the mean to it
    three standard deviations take. `categories` is inf where the gauge does not vary at all.
    """

    parts: int
    operators: int
    repeats: int
    mean: float
    anova: Crossed
    ratios: Ratios
    pooled: bool
    pool_above: float
    error: Source
    repeatability: Component
    operator: Component
    interaction: Component
    gauge: Component
    part: Component
    total: Component
    of_tolerance: Share | None
    of_total: float | None
    categories: float

    @property
    def ndc(self) -> float:
        """Number of distinct categories, whole."""
        return self.categories if self.categories == inf else float(floor(self.categories))

    @property
    def word(self) -> str:
        """What the figures amount to, by the tolerance where there is one."""
        figure = self.of_total if self.of_tolerance is None else self.of_tolerance.percent
        if figure is None:
            return "no spread"
        return "good" if figure < GOOD else "conditional" if figure <= BAD else "not capable"


def gauge_study(values: Floats, lower: float | None = None, upper: float | None = None, *,
                pool_above: float = POOL_ABOVE, level: float = LEVEL) -> Gauge:
    """Return the study of one characteristic by analysis of variance, both factors random.

    Parameters
    ----------
    values : (p, o, r) of p motors, o operators, r repeats, at least 2 each, all finite
    lower, upper : tolerance limits; None where there is none
    pool_above : the interaction is pooled with repeatability where its p is above this

    Source: Montgomery, Introduction to Statistical Quality Control, gauge capability by analysis of variance; AIAG,
    Measurement Systems Analysis (both from memory; held against the published figures of the latter's example).
    """
    p, o, r = values.shape
    table = crossed(values)
    against_error = variance_ratio(table.interaction, table.repeatability)
    pooled = against_error.p is not None and against_error.p > pool_above
    error = table.repeatability.with_(table.interaction) if pooled else table.repeatability
    below = error if pooled else table.interaction      # what motors and operators are held against
    parts = _components(table, error, below, (p, o, r), level, pooled=pooled)
    total = parts["total"].variance
    return Gauge(
        p, o, r, float(values.mean()), table,
        Ratios(variance_ratio(table.part, below), variance_ratio(table.operator, below), against_error),
        pooled, pool_above, error, **parts,
        of_tolerance=_of_tolerance(parts["gauge"], float(values.mean()), lower, upper),
        of_total=100 * parts["gauge"].sd / total**0.5 if total else None,
        categories=DISTINCT * parts["part"].sd / parts["gauge"].sd if parts["gauge"].sd else inf)


def _components(table: Crossed, error: Source, below: Source, shape: tuple[int, int, int], level: float, *,
                pooled: bool) -> dict[str, Component]:
    """Return the components; each is what its expected mean square holds beyond the one below it."""
    p, o, r = shape
    operator = [Term(1 / (p * r), table.operator), Term(-1 / (p * r), below)]
    part = [Term(1 / (o * r), table.part), Term(-1 / (o * r), below)]
    if pooled:
        interaction = Component(0.0, 0.0, 0.0)
        gauge = [Term(1 / (p * r), table.operator), Term(1 - 1 / (p * r), error)]
        total = [Term(1 / (o * r), table.part), Term(1 / (p * r), table.operator),
                 Term(1 - 1 / (p * r) - 1 / (o * r), error)]
    else:
        interaction = component([Term(1 / r, table.interaction), Term(-1 / r, error)], level)
        gauge = [Term(1 / (p * r), table.operator), Term((p - 1) / (p * r), table.interaction),
                 Term((r - 1) / r, error)]
        total = [Term(1 / (o * r), table.part), Term(1 / (p * r), table.operator),
                 Term((p * o - p - o) / (p * o * r), table.interaction), Term((r - 1) / r, error)]
    made = {"repeatability": component([Term(1.0, error)], level), "operator": component(operator, level),
            "interaction": interaction, "gauge": component(gauge, level), "part": component(part, level),
            "total": component([term for term in total if term.factor], level)}
    return _whole(made)


def _whole(made: dict[str, Component]) -> dict[str, Component]:
    """Return the components with gauge and total as the sums of their parts, which differ where one was below zero."""
    gauge = sum(made[name].variance for name in ("repeatability", "operator", "interaction"))
    total = gauge + made["part"].variance
    made["gauge"] = Component(gauge, min(made["gauge"].low, gauge), max(made["gauge"].high, gauge))
    made["total"] = Component(total, min(made["total"].low, total), max(made["total"].high, total))
    return made


def _of_tolerance(gauge: Component, mean: float, lower: float | None, upper: float | None) -> Share | None:
    if lower is not None and upper is not None:
        room, spreads = upper - lower, SPREADS
    elif lower is None and upper is None:
        return None
    else:       # common practice for one limit, no source: half the spread against the room on that side
        room, spreads = (upper - mean if lower is None else mean - lower), SPREADS / 2  # type: ignore[operator]
    if room <= 0:
        return None
    scale = 100 * spreads / room
    return Share(scale * gauge.sd, scale * gauge.sd_low, scale * gauge.sd_high)
