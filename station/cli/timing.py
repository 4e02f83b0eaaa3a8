"""`--timing`: where the time of each motor went, printed as a table."""

from station.cli.console import results
from station.sequence.timing import Row, Timing, seconds_of

KINDS = {"physics": "physics", "station": "station", "person": "person", "meanwhile": "(meanwhile)"}


def show_timing(timing: Timing, pace: float) -> None:
    """Print what each phase of a run took: seconds at the bench and, where the pace is another, by the clock."""
    rows = timing.rows()
    for line in [*_table(rows, pace), *_summary(rows, pace)]:
        results.print(line, markup=False, highlight=False, soft_wrap=True)


def _table(rows: list[Row], pace: float) -> list[str]:
    shown = [row for row in rows if row.seconds >= 5e-4]
    steps = max((len(row.step) for row in shown), default=4)
    phases = max((len(row.phase) for row in shown), default=5)
    return [f"    {'step':<{steps}}  {'phase':<{phases}}  {'kind':<11}  {_heads(pace)}",
            *(f"    {row.step:<{steps}}  {row.phase:<{phases}}  {KINDS[row.kind]:<11}  {_times(row.seconds, pace)}"
              for row in shown)]


def _summary(rows: list[Row], pace: float) -> list[str]:
    physics, own = seconds_of(rows, "physics"), seconds_of(rows, "station")
    added = f": {100 * own / physics:.1f} % on top of physics" if physics else ""
    return [f"    physics {_words(physics, pace)}, station {_words(own, pace)}{added}; "
            f"waiting for a person {seconds_of(rows, 'person'):.3f} s, not counted"]


def _heads(pace: float) -> str:
    return "       s" if pace == 1 else "s, bench  s, clock"


def _times(seconds: float, pace: float) -> str:
    return f"{seconds:8.3f}" if pace == 1 else f"{seconds * pace:8.3f}  {seconds:8.3f}"


def _words(seconds: float, pace: float) -> str:
    return f"{seconds:.3f} s" if pace == 1 else f"{seconds * pace:.3f} s at the bench ({seconds:.3f} s by the clock)"
