"""Wide tables: all tests of a motor type by one revision of its sequence, a row a run, made from the records."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from station.errors import EvidenceError, UsageError
from station.record import export
from station.record.capture_file import make_folder
from station.record.store import Store
from station.study.study_report import HARMLESS
from station.study.table_file import About, TableFile, columns_of, disk_trouble, write_table
from station.study.table_rows import Status, TableRows

if TYPE_CHECKING:
    import pandas as pd  # half a second, for which only those wait who read a table

TABLES = "tables"       # in the folder of the store
PRODUCTION = "production"


@dataclass(frozen=True, slots=True)
class WideTable:
    """Tests as columns; `frame` has a row for each run, oldest first.

    Of the run: seq (place in the log, -1 before there was one), serial, run, station, lot, started (UTC), kind
    ("production" or what else it was for), verdict, reason, void, suspect, trouble (NO RESULT whatever its values
    say), first and last (of the motor, among those that count), failed and missing (values by its own limits),
    refused and broken (captures), limit_sha256, sequence_sha256, leaf, conditions. Of each key in `values`, such as
    `hall_placement.b@forward 1000`: value, `u(key)`, `dof(key)` (float64, NaN where there is none) and
    `status(key)`, see `Status`.
    """

    about: About
    units: Mapping[str, str]
    frame: "pd.DataFrame"

    @property
    def keys(self) -> tuple[str, ...]:
        """The names of the columns with values."""
        return tuple(self.units)

    def values(self, key: str) -> NDArray[np.float64]:
        """Return the values of a key, NaN where there is none."""
        return self._column(key)

    def u(self, key: str) -> NDArray[np.float64]:
        """Return the standard uncertainties."""
        return self._column(f"u({key})")

    def dof(self, key: str) -> NDArray[np.float64]:
        """Return their degrees of freedom, inf for limits of error taken as certain."""
        return self._column(f"dof({key})")

    def status(self, key: str) -> NDArray[np.int8]:
        """Return what became of each value, see `Status`."""
        states: NDArray[np.int8] = self.frame[f"status({key})"].to_numpy(np.int8)
        return states

    def measured(self, key: str) -> NDArray[np.float64]:
        """Return only the values that there are."""
        values: NDArray[np.float64] = self.values(key)[self.status(key) == Status.MEASURED]
        return values

    def where(self, rows: "pd.Series[bool] | NDArray[np.bool_]") -> "WideTable":
        """Return the table of some rows."""
        return replace(self, frame=self.frame[rows].reset_index(drop=True))

    def production(self) -> "WideTable":
        """Return the runs of the production that are not void."""
        return self.where((self.frame["kind"] == PRODUCTION) & ~self.frame["void"])

    def first_attempts(self) -> "WideTable":
        """Return of each motor its first run of the production that counts: not void, and with a verdict.

        A run without a result says nothing of the motor; a later run never replaces a first one that has one.
        """
        return self.where(self.frame["first"])

    def _column(self, name: str) -> NDArray[np.float64]:
        numbers: NDArray[np.float64] = self.frame[name].to_numpy(np.float64)
        return numbers


def read_table(folder: Path, motor_type: str, sequence_revision: str = "", *, lot_pattern: str = "",
               keys: Collection[str] | None = None, entries: int | None = None) -> WideTable:
    """Return the tests of a motor type in the store at `folder`.

    Parameters
    ----------
    sequence_revision : needed where there are several, whose values do not compare
    lot_pattern : regular expression on the serial with a group `lot`; where it does not match or is empty, the lot is
        that of the order in the record, else the date of the start
    keys : only these values; all if left out
    entries : a table made when the log had so many will do, as no later ones are asked for; see `table_of`

    Raises
    ------
    UsageError
        There are no such tests.
    EvidenceError
        A record was altered.
    """
    file = table_of(folder, motor_type, sequence_revision, entries)
    values = [name for name in file.about.values if keys is None or name in keys]
    left_out = {column for name in set(file.about.values) - set(values) for column in columns_of(name)}
    chosen = file.frame([name for name in file.names if name not in left_out]).to_pandas()
    frame = chosen.sort_values("seq", kind="stable").reset_index(drop=True)
    frame.insert(3, "lot", _lots(frame, lot_pattern))
    return WideTable(file.about, {name: file.unit(name) for name in values}, frame)


def table_of(folder: Path, motor_type: str, sequence_revision: str = "", entries: int | None = None) -> TableFile:
    """Return the table file of a motor type, made anew if it lacks what the log has now; errors as `read_table`.

    With `entries` it lacks nothing once it has the first so many of the log.
    """
    with Store(folder, read_only=True) as store:
        files = [file for file in _tables(store, entries) if file.about.motor_type == motor_type]
    fitting = [file for file in files if sequence_revision in ("", file.about.sequence_revision)]
    if len(fitting) != 1:
        raise UsageError("these tests make no table", where=f"tests of {motor_type} in {folder}",
                         expected=f"revision {sequence_revision} of the sequence" if sequence_revision else
                         "one revision of the sequence, as the columns of several do not compare",
                         got=", ".join(file.about.sequence_revision for file in files) or "none",
                         remedy="Name one that there is, or look with `station records find`.")
    return fitting[0]


def revisions_of(folder: Path, motor_type: str) -> list[str]:
    """Return the revisions of the sequence by which the store at `folder` has tests of a motor type."""
    with Store(folder, read_only=True) as store:
        return [file.about.sequence_revision for file in _tables(store) if file.about.motor_type == motor_type]


def kept_tables(folder: Path, motor_type: str) -> list[TableFile]:
    """Return the tables of a motor type as they were last made, whatever was logged since; none before the first.

    For those who must not wait: making them takes about 5 ms a test. What each is of, its `about` tells.
    """
    try:
        files = [TableFile(path) for path in sorted((folder / TABLES).glob("*.parquet"))]
    except (EvidenceError, FileNotFoundError):      # of another format, or just being replaced
        return []
    return [file for file in files if file.about.motor_type == motor_type]


def build_tables(store: Store) -> list[Path]:
    """Make the table of every motor type and revision of its sequence anew; return the files."""
    gathered: dict[tuple[str, str], TableRows] = {}
    void = frozenset((said["of"]["serial"], said["of"]["run"]) for said in store.statements("correction")
                     if said["what"] == "void")
    suspect = frozenset((one.serial, one.run) for one in store.suspects())
    size, root = _state(store)
    for record, leaf in store.each_with_leaf():
        revision = record["sequence"]["revision"]
        if revision:        # without one it was interrupted, and nothing is known of it
            key = record["motor_type"]["name"], revision
            gathered.setdefault(key, TableRows(export.WideTable(void, suspect))).add(record, leaf)
    with disk_trouble(store.folder / TABLES):
        make_folder(store.folder / TABLES)
    paths: list[Path] = []
    for (motor_type, revision), rows in gathered.items():
        table, values = rows.table()
        path = store.folder / TABLES / f"{_plain(motor_type)}-{_plain(revision)}.parquet"
        path = path.with_stem(f"{path.stem}+{len(paths)}") if path in paths else path
        write_table(path, table, About(motor_type, revision, _origin(store), size, root, values, rows.labels))
        paths.append(path)
    for left in set((store.folder / TABLES).glob("*.parquet")) - set(paths):
        left.unlink()
    return paths


def _tables(store: Store, entries: int | None = None) -> list[TableFile]:
    """Return the tables of a store, made anew where they lack something; see `_lack_nothing`."""
    try:
        files = [TableFile(path) for path in sorted((store.folder / TABLES).glob("*.parquet"))]
    except EvidenceError:
        files = []
    if not _lack_nothing(store, files, entries):
        files = [TableFile(path) for path in build_tables(store)]
    return files


def _lack_nothing(store: Store, files: Sequence[TableFile], entries: int | None) -> bool:
    """Return whether tables are of this log, all of one state, and nothing that is in tables was logged since.

    Of what is logged up to `entries`, if that is given, else of all.
    """
    states = {(file.about.log_size, file.about.log_root) for file in files}
    size, root = _state(store)
    if len(states) != 1 or not root:
        return False
    made_at, root_then = states.pop()
    if not 0 < made_at <= size or store.log.head(made_at).root.hex() != root_then:
        return False
    wanted = size if entries is None else min(entries, size)
    return all(entry.kind in HARMLESS for entry in store.log.entries(made_at, max(wanted, made_at)))


def _state(store: Store) -> tuple[int, str]:
    try:
        head = store.log.head()
    except UsageError:      # a store from before there was a log
        return 0, ""
    return len(store.log), head.root.hex()


def _origin(store: Store) -> str:
    try:
        return store.log.head().origin
    except UsageError:
        return ""


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9.]+", "-", text).strip("-") or "none"


def _lots(frame: "pd.DataFrame", pattern: str) -> list[str]:
    known = zip(frame["serial"], frame["order_lot"], frame["started"], strict=True)
    return [_lot_of(serial, lot, started, pattern) for serial, lot, started in known]


def _lot_of(serial: str, lot: str, started: datetime, pattern: str) -> str:
    found = re.search(pattern, serial) if pattern else None
    return (found["lot"] if found else "") or lot or started.date().isoformat()
