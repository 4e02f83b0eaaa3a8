"""The stored tests that a what-if judges again: as they were gathered last, so that an answer never waits for it."""

from pathlib import Path

from starlette.responses import Response

from station.errors import UsageError
from station.record.store import Store
from station.screens.apart import apart
from station.screens.ask import Ask
from station.screens.release_study import sequence_in_force
from station.screens.study_asked import computed
from station.study.table_file import TableFile
from station.study.wide_table import build_tables, kept_tables


def gathered(ask: Ask, motor_type: str, sequence: str = "", entries: int = 0) -> TableFile | Response:
    """Return the table of the tests of a motor type, or the page that waits for it where it is not there, or too old.

    Parameters
    ----------
    sequence : revision of the sequence; "" for the one in force, or that of most tests
    entries : of the log, which must be in the table at least

    Raises
    ------
    UsageError
        There are no such tests.
    """
    found = newest_table(ask, motor_type, sequence)
    if found is not None and found.about.log_size >= entries:
        return found
    with ask.site.store() as store:
        size = len(store.log)
    made = computed(ask, f"tests up to entry {size} of the log", lambda: apart(_gather, ask.site.station.store))
    if isinstance(made, Response):
        return made
    found = newest_table(ask, motor_type, sequence)
    if found is None:
        raise UsageError("there are no such tests", where="limits", expected=f"stored tests of {motor_type}"
                         + (f" by revision {sequence} of the sequence" if sequence else ""), got="none",
                         remedy="Test motors of this type first.")
    return found


def newest_table(ask: Ask, motor_type: str, sequence: str = "") -> TableFile | None:
    """Return the table of the tests as it was made last; of several sequences the one in force, or the largest."""
    files = kept_tables(ask.site.station.store, motor_type)
    wished = sequence or sequence_in_force(ask.site.station)
    fitting = [file for file in files if file.about.sequence_revision == wished]
    if not fitting and not sequence:
        fitting = sorted(files, key=lambda file: -file.rows)
    return fitting[0] if fitting else None


def sequences(ask: Ask, motor_type: str) -> list[str]:
    """Return the revisions of the sequence by which there are tests."""
    return [file.about.sequence_revision for file in kept_tables(ask.site.station.store, motor_type)]


def _gather(store: Path) -> int:
    """Make the tables anew; return how many."""
    with Store(store, read_only=True) as opened:
        return len(build_tables(opened))
