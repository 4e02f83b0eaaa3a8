"""The report of a gauge study on paper: the figures of the worst values, and the worst one in full."""

from math import inf

from station.study.anova import Ratio
from station.study.gauge import Gauge
from station.study.gauge_report import COMPONENTS, GaugeReport, Row, anova_rows
from station.study.pages import Column, Pages, document
from station.study.picture import GREY, GROUPS, MARKS, Picture, house_figure, picture
from station.units import printed

SHOWN = 30          # values with their figures: those of most concern; the command shows all
DETAILED = 1        # values shown in full
_VALUES = (Column("value", 6), Column("unit", 1.4), Column("u claimed", 1.8, number=True),
           Column("s gauge", 1.8, number=True), Column("95 %", 3, number=True),
           Column("% GRR of tol.", 2.2, number=True), Column("95 %", 3, number=True),
           Column("of total", 1.8, number=True), Column("ndc", 1, number=True), Column("interaction", 3),
           Column("", 2.2))
_SOURCES = (Column("source", 4), Column("sum of squares", 3, number=True), Column("dof", 1.5, number=True),
            Column("mean square", 3, number=True), Column("F", 2, number=True), Column("p", 2, number=True))
_COMPONENTS = (Column("component", 4), Column("s", 2, number=True), Column("95 % interval", 4, number=True),
               Column("share of variance", 3, number=True))


def gauge_pages(made: GaugeReport) -> bytes:
    """Return the PDF; the same study gives the same bytes."""
    runs = made.runs
    pictures = [_values_plot(row, runs.motors, runs.levels) for row in _detailed(made)]
    return document(f"Gauge study {runs.study} of {runs.motor_type}",
                    f"gauge study {runs.study}, plan {runs.plan_sha256[:16]}",
                    lambda pages: _write(pages, made, pictures))


def _write(pages: Pages, made: GaugeReport, pictures: list[Picture]) -> None:
    runs = made.runs
    pages.heading(f"Gauge study {runs.study}", size=15)
    pages.paragraph(f"{len(runs.motors)} motors of type {runs.motor_type} ({', '.join(runs.motors)}), operator: "
                    f"{runs.by} ({', '.join(runs.levels)}), {runs.repeats} repeats each; {runs.started} to "
                    f"{runs.ended}.")
    for words in (made.method, made.meaning, *made.remarks()):
        pages.paragraph(words)
    shown = made.rows[:SHOWN]
    pages.heading(f"{len(shown)} of {len(made.rows)} limited values, the worst first")
    pages.table(_VALUES, [_value_cells(row) for row in shown])
    for row, plot in zip(_detailed(made), pictures, strict=True):
        if row.gauge is not None:
            _write_detail(pages, row, row.gauge, plot)


def _write_detail(pages: Pages, row: Row, gauge: Gauge, plot: Picture) -> None:
    unit = printed(row.studied.unit)
    pages.heading(f"{row.studied.key}{', ' if unit else ''}{unit}", keep=300)
    pages.table(_SOURCES, [[name, f"{source.ss:.6g}", str(source.dof), f"{source.ms:.6g}", *_ratio(ratio)]
                           for name, source, ratio in anova_rows(gauge)])
    pages.paragraph(f"The interaction is {'pooled' if gauge.pooled else 'kept'}: pooled where p is above "
                    f"{gauge.pool_above:g}.")
    whole = gauge.total.variance
    pages.table(_COMPONENTS, [[name, f"{one.sd:.4g}", f"{one.sd_low:.4g} … {one.sd_high:.4g}",
                               f"{100 * one.variance / whole:.2f} %" if whole else "-"]
                              for name, one in ((name, getattr(gauge, name)) for name in COMPONENTS)])
    pages.picture(plot.png)


def _detailed(made: GaugeReport) -> list[Row]:
    return [row for row in made.rows if row.gauge is not None][:DETAILED]


def _values_plot(row: Row, motors: tuple[str, ...], levels: tuple[str, ...]) -> Picture:
    """Return every value over its motor, a mark for each operator, with the limits where they are near."""
    values = row.studied.values
    with house_figure(6.6, 2.9) as figure:
        axes = figure.subplots()
        for k, level in enumerate(levels):
            shift = 0.16 * (k - (len(levels) - 1) / 2)
            for repeat in range(values.shape[2] if values is not None else 0):
                axes.plot([m + shift for m in range(len(motors))], values[:, k, repeat],  # type: ignore[index]
                          MARKS[k % len(MARKS)], color=GROUPS[k % len(GROUPS)], markersize=3.2,
                          label=level if repeat == 0 else None)
        low, high = axes.get_ylim()
        for limit in (row.studied.lower, row.studied.upper):
            if limit is not None and low - (high - low) <= limit <= high + (high - low):
                axes.axhline(limit, color=GREY, linewidth=0.8, linestyle="--")
        axes.set_xticks(range(len(motors)), motors, rotation=30, ha="right")
        axes.set_ylabel(f"{row.studied.key}, {printed(row.studied.unit)}".rstrip(", "))
        axes.legend(frameon=False, ncols=len(levels), fontsize=7)
        return picture("gauge", figure)


def _value_cells(row: Row) -> list[str]:
    studied, gauge = row.studied, row.gauge
    head = [studied.key, printed(studied.unit), "-" if studied.u is None else f"{studied.u:.2g}"]
    if gauge is None:
        return [*head, *["-"] * 7, studied.missing]
    share, p = gauge.of_tolerance, gauge.ratios.interaction.p
    return [*head, f"{gauge.gauge.sd:.2g}", f"{gauge.gauge.sd_low:.2g} … {gauge.gauge.sd_high:.2g}",
            *(("-", "-") if share is None else (f"{share.percent:.2g}", f"{share.low:.2g} … {share.high:.2g}")),
            "-" if gauge.of_total is None else f"{gauge.of_total:.1f} %",
            "-" if gauge.ndc == inf else f"{gauge.ndc:.0f}",
            "-" if p is None else f"{'pooled' if gauge.pooled else 'kept'}, p {p:.3f}", gauge.word]


def _ratio(ratio: Ratio | None) -> list[str]:
    numbers = (None, None) if ratio is None else (ratio.f, ratio.p)
    return ["" if number is None else f"{number:.4g}" for number in numbers]
