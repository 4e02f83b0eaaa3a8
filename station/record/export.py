"""Records as a wide table: a row for each run, a column for each characteristic, for spreadsheets and data frames."""

import csv
import io
import json
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from station.record.merkle import leaf_hash
from station.record.record import Record, canonical

FORMAT = 1

# What a status column says. Only "measured" comes with a value; a table has no NaN, and nothing is ever filled in.
MEASURED = "measured"
NO_NUMBER = "no number"     # measured, but what came of it is no finite number
REFUSED = "refused"         # its capture could not be trusted
NOT_RUN = "not run"         # the step or capture that gives it was not carried out
MISSING = "missing"         # it was carried out, and gave no such value

FORMULA_STARTS = "=+-@\t\r\n"      # with which a spreadsheet takes a text for a formula

Key = tuple[str, str]       # characteristic, and label of its capture or ""
Run = tuple[str, int]       # serial and run


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, the unit of its values, and what Parquet keeps beside it."""

    name: str
    kind: pa.DataType
    values: list[Any]
    about: Mapping[str, str] = field(default_factory=dict)

    @property
    def header(self) -> str:
        """Name and unit, as both kinds of file have it; units as limit files spell them."""
        return f"{self.name} [{self.about['unit']}]" if "unit" in self.about else self.name


@dataclass(slots=True)
class _Series:
    """The values of one characteristic, only those that there are: a row of the table, value and u."""

    unit: str
    rows: "array[int]" = field(default_factory=lambda: array("q"))
    values: "array[float]" = field(default_factory=lambda: array("d"))
    us: "array[float]" = field(default_factory=lambda: array("d"))
    dofs: "array[float]" = field(default_factory=lambda: array("d"))
    nothing: set[int] = field(default_factory=set)      # rows in which no finite number came of it


@dataclass(slots=True)
class WideTable:
    """A table that grows by one record after the other and keeps of each only what it needs.

    `void` and `suspect` are the runs declared void, and those that a failed reference check casts doubt on.
    """

    void: frozenset[Run] = frozenset()
    suspect: frozenset[Run] = frozenset()
    _runs: list[dict[str, Any]] = field(default_factory=list)
    _conditions: list[Mapping[str, float]] = field(default_factory=list)
    _captures: list[tuple[dict[str, bool], bool]] = field(default_factory=list)  # refused, by label; all steps done?
    _series: dict[Key, _Series] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self._runs)

    def add(self, record: Record, leaf: bytes | None = None) -> None:
        """Add a run; all are of one motor type and one revision of the sequence, so that columns compare.

        `leaf` is the hash of its leaf where it is known, see `find.records_with_leaves`; else it is reckoned.
        """
        row = len(self)
        self._runs.append(self._run(record, leaf or leaf_hash(canonical(record))))
        self._conditions.append(record["conditions"])
        done = bool(record["steps"]) and all(step["outcome"] in ("done", "failed") for step in record["steps"])
        self._captures.append(({c["label"]: bool(c["refused"]) for c in record["captures"]}, done))
        for measured in record["measurements"]:
            series = self._series.setdefault((measured["name"], measured["label"]), _Series(measured["unit"]))
            if measured["value"] is None:
                series.nothing.add(row)
                continue
            series.rows.append(row)
            series.values.append(measured["value"])
            series.us.append(float("nan") if measured["u"] is None else measured["u"])
            series.dofs.append(float("inf") if measured["dof"] is None else measured["dof"])

    def columns(self, *, with_u: bool = False, with_dof: bool = False) -> Iterator[Column]:
        """Yield the columns: of the run, its conditions, then of each characteristic value, status and what is asked.

        `with_u` is for its standard uncertainty, `with_dof` for the degrees of freedom of that, infinite for limits
        of error taken as certain.
        """
        kinds = {str: pa.string(), int: pa.int64(), bool: pa.bool_()}
        for name, first in self._runs[0].items() if self._runs else ():
            yield Column(name, kinds[type(first)], [run[name] for run in self._runs])
        for name in dict.fromkeys(name for one in self._conditions for name in one):
            plain, _, unit = name.rpartition("_")
            yield Column(plain, pa.float64(), [one.get(name) for one in self._conditions], {"unit": unit})
        for key, series in self._series.items():
            yield from self._measured(key, series, with_u=with_u, with_dof=with_dof)

    def _run(self, record: Record, leaf: bytes) -> dict[str, Any]:
        run = record["serial"], record["run"]
        return {
            "station": record["station"]["id"], "serial": run[0], "run": run[1],
            "motor_type": record["motor_type"]["name"], "started": record["started"], "ended": record["ended"],
            "operator": record["operator"], "purpose": record.get("purpose", "production"),
            "verdict": record["verdict"], "reason": record["reason"], "void": run in self.void,
            "suspect": run in self.suspect, "findings": " ".join(found["code"] for found in record["findings"]),
            "failed_values": sum(row["result"] == "FAIL" for row in record["judged"]),
            "sequence_revision": record["sequence"]["revision"], "limit_revision": record["limit_file"]["revision"],
            **{f"{name}_sha256": record[name]["sha256"] for name in ("sequence", "limit_file", "bench")},
            "software": record["software"].get("station", ""), "leaf": leaf.hex(),
        }

    def _measured(self, key: Key, series: _Series, *, with_u: bool, with_dof: bool) -> Iterator[Column]:
        name = f"{key[0]}@{key[1]}" if key[1] else key[0]
        about = {"characteristic": key[0], "capture": key[1]}
        yield Column(name, pa.float64(), self._spread(series, series.values), about | {"unit": series.unit})
        if with_u:
            yield Column(f"u({name})", pa.float64(), self._spread(series, series.us), about | {"unit": series.unit})
        if with_dof:
            yield Column(f"dof({name})", pa.float64(), self._spread(series, series.dofs), about)
        there = set(series.rows)
        states = [MEASURED if row in there else NO_NUMBER if row in series.nothing else self._absent(row, key[1])
                  for row in range(len(self))]
        yield Column(f"status({name})", pa.string(), states, about)

    def _spread(self, series: _Series, numbers: "array[float]") -> list[float | None]:
        spread: list[float | None] = [None] * len(self)
        for row, number in zip(series.rows, numbers, strict=True):
            spread[row] = None if number != number else number  # noqa: PLR0124 - NaN stands for an unknown u
        return spread

    def _absent(self, row: int, label: str) -> str:
        captures, done = self._captures[row]
        if captures.get(label):
            return REFUSED
        carried_out = label in captures if label else done
        return MISSING if carried_out else NOT_RUN


def as_csv(columns: Sequence[Column]) -> bytes:
    """Return the table as CSV: UTF-8, a header line, empty where there is no value. Source: RFC 4180, from memory.

    Texts that a spreadsheet would carry out as formulas get an apostrophe before them. Source: common practice.
    """
    sink = io.StringIO(newline="")
    writer = csv.writer(sink, lineterminator="\r\n")
    writer.writerow([column.header for column in columns])
    writer.writerows(zip(*(_harmless(column) for column in columns), strict=True))
    return sink.getvalue().encode()


def _harmless(column: Column) -> list[Any]:
    if column.kind != pa.string():
        return column.values
    return [f"'{text}" if text and text[0] in FORMULA_STARTS else text for text in column.values]


def as_parquet(columns: Sequence[Column]) -> bytes:
    """Return the table as Parquet; unit, characteristic and capture stand in the metadata of each field too."""
    fields = [pa.field(column.header, column.kind, metadata=dict(column.about)) for column in columns]
    schema = pa.schema(fields, metadata={b"records": json.dumps({"format": FORMAT}).encode()})
    table = pa.table([pa.array(column.values, column.kind) for column in columns], schema=schema)
    texts = [column.header for column in columns if column.kind == pa.string()]
    sink = io.BytesIO()
    pq.write_table(table, sink, compression="zstd", use_dictionary=texts)
    return sink.getvalue()
