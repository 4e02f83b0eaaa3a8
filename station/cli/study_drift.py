"""`station study drift`: control charts of the reference motors, and what their alarms are worth."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from station.cli.console import results
from station.errors import UsageError
from station.record.capture_file import make_folder, write_durably
from station.record.store import Store
from station.sequence.reference_history import drift
from station.sequence.station_file import load_station
from station.study.drift import Chart, DriftRules, charts_of, current, rules_in

SHOWN = 15                          # charts, those worst
SHIFTS = (0.0, 0.5, 1.0, 2.0, 3.0)   # of the mean, in spreads, whose run lengths are told


def study_drift(
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    serial: Annotated[str, typer.Option(help="One reference motor; all if left out.")] = "",
    characteristic: Annotated[str, typer.Option(help="Full name; all if left out.")] = "",
    out: Annotated[Path | None, typer.Option(help="Folder for a plot of each chart shown, as SVG and PNG.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Every chart with its points.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Show every chart.")] = False,
) -> int:
    """Chart how far the reference motors are from what they should measure: EWMA, and each check by itself."""
    here = load_station(station)
    with Store(here.store, read_only=True) as store:
        series = drift(store.reference_checks(), serial or None, characteristic or None)
    rules = rules_in(here.drift)
    charts = charts_of(series, rules)
    if not charts:
        raise UsageError("there is nothing to chart", where=str(here.store), expected="reference checks with values",
                         got="none", remedy="Make one: `station reference check`; or choose another characteristic.")
    shown = charts if everything else charts[:SHOWN]
    if out is not None:
        _draw(shown, rules, out)
    if as_json:
        results.print(json.dumps({"format": 1, "rules": asdict(rules), "run_lengths": _run_lengths(rules),
                                  "charts": [asdict(chart) for chart in charts]}),
                      markup=False, highlight=False, soft_wrap=True)
        return 0
    results.print(_table(shown))
    if out is not None:
        _say(f"{len(shown)} plots in {out}")
    now = current(charts)
    states = [chart.latest.state for chart in now]
    _say(f"{len(charts)} charts, the {len(shown)} worst shown; of the newest checks {states.count('stop')} far off, "
         f"{states.count('warning')} with a warning, {states.count('absent')} not measured, "
         f"{states.count('in control')} in control")
    _say_worth(rules, len(now))
    return 0


def _table(charts: list[Chart]) -> Table:
    table = Table("reference motor", "characteristic", "checks", "last check", "deviation / u", "average / u",
                  "limit / u", "spread / u", "state", "why")
    for chart in charts:
        point, at = chart.latest, f" @ {chart.label}" if chart.label else ""
        table.add_row(chart.serial, chart.name + at, str(len(chart.points)), str(point.check),
                      "-" if point.deviation is None else f"{point.deviation:+.2f}", f"{point.average:+.2f}",
                      f"{point.average_limit:.2f}", f"{point.spread:.2f}", point.state, point.why)
    return table


def _run_lengths(rules: DriftRules) -> list[dict[str, float]]:
    from station.study.run_length import ewma_run_length, shewhart_run_length  # noqa: PLC0415 - brings in scipy

    return [{"shift": shift, "average": ewma_run_length(shift, rules.smoothing, rules.limit),
             "average_or_stop": ewma_run_length(shift, rules.smoothing, rules.limit, rules.stop),
             "warn": shewhart_run_length(shift, rules.warn), "stop": shewhart_run_length(shift, rules.stop)}
            for shift in SHIFTS]


def _say_worth(rules: DriftRules, charts: int) -> None:
    """Say how soon each rule signals, and how often it does so by chance on so many charts."""
    rows, wide = _run_lengths(rules), rules.over(charts)
    table = Table("shift of the mean, spreads", f"average beyond {rules.limit:g}", f"average or a point beyond "
                  f"{rules.stop:g}", f"a point beyond {rules.stop:g}", f"a point beyond {rules.warn:g}",
                  title="checks until a signal, on average")
    for row in rows:
        table.add_row(f"{row['shift']:g}", *(f"{row[key]:.4g}" for key in ("average", "average_or_stop", "stop",
                                                                           "warn")))
    results.print(table)
    _say(f"By chance, if the {charts} charts were independent and spread as much as their reference files allow: in "
         "one check "
         f"{charts / rows[0]['average']:.2g} averages, {charts / rows[0]['stop']:.2g} points beyond {rules.stop:g} and "
         f"{charts / rows[0]['warn']:.2g} beyond {rules.warn:g} spreads. At the line the limits are wider, "
         f"so that all charts together signal by chance as seldom as one: {wide.limit:.3g}, {wide.stop:.3g} and "
         f"{wide.warn:.3g}.")


def _draw(charts: list[Chart], rules: DriftRules, out: Path) -> None:
    from station.study.drift_plot import drift_plot  # noqa: PLC0415 - brings in matplotlib

    make_folder(out)
    for chart in charts:
        plot = drift_plot(chart, rules)
        write_durably(out / f"{plot.name}.svg", plot.svg)
        write_durably(out / f"{plot.name}.png", plot.png)


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
