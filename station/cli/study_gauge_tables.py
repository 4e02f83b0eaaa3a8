"""The tables that `station study gauge` prints."""

from collections.abc import Iterator
from math import inf
from typing import TYPE_CHECKING

from rich.table import Table

from station.errors import UsageError
from station.units import printed

if TYPE_CHECKING:
    from station.study.capability import Estimate
    from station.study.gauge import Share
    from station.study.gauge_report import GaugeReport, Row
    from station.study.type_one_runs import KnownMotor

SHOWN = 12      # values, those of most concern
KNOWN_NOTE = ("Cg = 0.2 T / 6 s, Cgk = (0.1 T - |bias|) / 3 s, with the tolerance T; 1.33 or more is wanted (common "
              "practice). Intervals: 95 %. A bias is in doubt as the reference value itself has an uncertainty.")


def report_table(made: "GaugeReport", *, everything: bool) -> Table:
    """Return a line for each value."""
    shown = made.rows if everything else made.rows[:SHOWN]
    table = Table("value", "unit", "u claimed", "s gauge", "95 %", "% GRR of tolerance", "95 %", "of total", "ndc",
                  "interaction", "", title=None if everything else f"{len(shown)} of {len(made.rows)} values, the "
                  "worst first; --all shows the others")
    for row in shown:
        table.add_row(*_cells(row))
    return table


def detail_tables(made: "GaugeReport", key: str) -> Iterator[Table]:
    """Yield the analysis of variance and the components of one value; UsageError for one that was not studied."""
    from station.study.gauge_report import COMPONENTS, anova_rows  # noqa: PLC0415 - slow to import, for studies only

    row = next((row for row in made.rows if row.studied.key == key), None)
    if row is None or row.gauge is None:
        raise UsageError("this value was not studied", where=f"gauge study {made.runs.study}", got=key,
                         expected="a limited value that every run has", remedy="Look with --all at what there is.")
    gauge, unit = row.gauge, printed(row.studied.unit)
    table = Table("source", "sum of squares", "dof", "mean square", "F", "p", title=f"{key}, {unit}")
    for name, source, ratio in anova_rows(gauge):
        table.add_row(name, f"{source.ss:.6g}", str(source.dof), "" if name == "total" else f"{source.ms:.6g}",
                      *("" if ratio is None or number is None else f"{number:.4g}"
                        for number in ((ratio.f, ratio.p) if ratio else (None, None))))
    yield table
    table = Table("component", "s", "95 % interval", "share of variance",
                  title=f"interaction {_pooling(row)} at p {'above' if gauge.pooled else 'up to'} {gauge.pool_above:g}")
    for name in COMPONENTS:
        one = getattr(gauge, name)
        share = f"{100 * one.variance / gauge.total.variance:.2f} %" if gauge.total.variance else "-"
        table.add_row(name, f"{one.sd:.4g}", _interval(one.sd_low, one.sd_high), share)
    yield table


def known_table(known: "KnownMotor", *, everything: bool) -> Table:
    """Return a line for each value of a known motor."""
    shown = known.studied if everything else known.studied[:SHOWN]
    table = Table("value", "unit", "reference", "mean", "s", "bias", "p of bias", "Cg", "Cgk", "",
                  title=f"{known.serial}, {known.runs} runs" + ("" if everything else f": {len(shown)} of "
                                                                f"{len(known.studied)} values, the worst first; --all "
                                                                "shows the others"))
    for one in shown:
        study = one.study
        words = {None: "no tolerance", True: "capable", False: "not capable"}[study.capable]
        table.add_row(one.key, printed(one.unit), f"{study.reference:.6g}", f"{study.mean:.6g}", f"{study.s:.2g}",
                      f"{study.bias:+.2g}", "-" if study.p_bias is None else f"{study.p_bias:.3f}", _index(study.cg),
                      _index(study.cgk), words)
    return table


def _cells(row: "Row") -> list[str]:
    studied, gauge = row.studied, row.gauge
    head = [studied.key, printed(studied.unit), "-" if studied.u is None else f"{studied.u:.2g}"]
    if gauge is None:
        return [*head, *["-"] * 7, studied.missing]
    return [*head, f"{gauge.gauge.sd:.2g}" + (" > u" if row.exceeds_u else ""),
            _interval(gauge.gauge.sd_low, gauge.gauge.sd_high, 2), *_share(gauge.of_tolerance),
            "-" if gauge.of_total is None else f"{gauge.of_total:.1f} %",
            "-" if gauge.ndc == inf else f"{gauge.ndc:.0f}", _pooling(row), gauge.word]


def _pooling(row: "Row") -> str:
    gauge = row.gauge
    if gauge is None or gauge.ratios.interaction.p is None:
        return "-"
    return f"{'pooled' if gauge.pooled else 'kept'} (p {gauge.ratios.interaction.p:.3f})"


def _share(share: "Share | None") -> tuple[str, str]:
    return ("-", "-") if share is None else (f"{share.percent:.2g} %", _interval(share.low, share.high, 2))


def _interval(low: float, high: float, digits: int = 4) -> str:
    return f"{low:.{digits}g} … " + ("?" if high == inf else f"{high:.{digits}g}")


def _index(index: "Estimate | None") -> str:
    return "-" if index is None else f"{index.value:.3g} ({index.low:.3g} … {index.high:.3g})"
