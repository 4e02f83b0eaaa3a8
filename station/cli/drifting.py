"""What the charts of the reference motors say before and after tests: warnings, and a stop where the station asks."""

from station.cli.console import results
from station.errors import BenchNotFitError
from station.record.store import Store
from station.sequence.reference_history import drift
from station.sequence.station_file import Drift, Station
from station.study.drift import Chart, DriftRules, charted, charts_of, current, told

NEWEST = 60     # checks of each motor type that are looked at: what was before weighs 2e-6 in the average


def rules_of(station: Station) -> DriftRules:
    """Return the rules in the station file, or those that hold without any."""
    table = station.drift or Drift()
    return DriftRules(table.smoothing, table.ewma_limit, table.warn_s, table.stop_s, table.stop_share_of_U)


def charts_now(station: Station, store: Store) -> list[Chart]:
    """Return the charts of the newest check of each motor type, those worst first, by rules for so many at once."""
    series = charted(drift(store.newest_reference_checks(NEWEST)))
    return current(charts_of(series, rules_of(station).over(len(series))))


def warn_of_drift(station: Station, store: Store) -> list[Chart]:
    """Print what warns, nothing while all is in control; return the charts."""
    charts = charts_now(station, store)
    for line in told(charts):
        results.print(f"  ! {line}", markup=False, highlight=False, soft_wrap=True)
    return charts


def require_no_drift(station: Station, store: Store) -> None:
    """Warn, and raise BenchNotFitError where the station file asks for a stop and a chart is far off."""
    far = [chart for chart in warn_of_drift(station, store) if chart.latest.state == "stop"]
    if far and station.drift is not None and station.drift.stop:
        raise BenchNotFitError(
            "the bench has drifted", where=station.id, expected="reference motors within the limits of [drift]",
            got="; ".join(f"{chart.key}: {chart.latest.why}" for chart in far[:3]),
            remedy="Repeat `station reference check`: what was chance is gone then. If it stays, have the bench looked "
            "at; a check with --done begins the charts anew.")
