"""What the charts of the reference motors say before and after tests: warnings, and a stop where the station asks."""

from station.cli.console import results
from station.errors import BenchNotFitError
from station.record.store import Store
from station.sequence.reference_history import drift
from station.sequence.station_file import Station
from station.study.drift import Chart, charted, charts_of, current, rules_in, told

NEWEST = 60     # checks of each motor type that are looked at: what was before weighs 2e-6 in the average


def charts_now(station: Station, store: Store) -> list[Chart]:
    """Return the charts of the newest check of each motor type, those worst first, by rules for so many at once."""
    series = charted(drift(store.newest_reference_checks(NEWEST)))
    return current(charts_of(series, rules_in(station.drift).over(len(series))))


def warn_of_drift(station: Station, store: Store) -> list[Chart]:
    """Print what warns, nothing while all is in control; return the charts."""
    charts = charts_now(station, store)
    for line in told(charts):
        results.print(f"  ! {line}", markup=False, highlight=False, soft_wrap=True)
    return charts


def stopping(station: Station, charts: list[Chart]) -> list[Chart]:
    """Return the charts that are so far off that no motor is tested, none where the station file asks for no stop."""
    if station.drift is None or not station.drift.stop:
        return []
    return [chart for chart in charts if chart.latest.state == "stop"]


class DriftWatch:
    """The charts of a station, drawn anew only once there is another check: to be looked at all day."""

    def __init__(self, station: Station) -> None:
        self._station, self._drawn = station, (-1, list[Chart]())

    def charts(self, store: Store) -> list[Chart]:
        """Return the charts as they are now; from any thread, each with a store of its own."""
        newest = max((check["check"] for check in store.newest_reference_checks(1)), default=0)
        number, charts = self._drawn
        if number != newest:
            charts = charts_now(self._station, store)
            self._drawn = newest, charts
        return charts


def require_no_drift(station: Station, store: Store) -> None:
    """Warn, and raise BenchNotFitError where the station file asks for a stop and a chart is far off."""
    far = stopping(station, warn_of_drift(station, store))
    if far:
        raise BenchNotFitError(
            "the bench has drifted", where=station.id, expected="reference motors within the limits of [drift]",
            got="; ".join(f"{chart.key}: {chart.latest.why}" for chart in far[:3]),
            remedy="Repeat `station reference check`: what was chance is gone then. If it stays, have the bench looked "
            "at; a check with --done begins the charts anew.")
