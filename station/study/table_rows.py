"""The rows of a wide table, gathered from records one after another; what a run says is told by the export."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import IntEnum
from typing import Any

import numpy as np
import pyarrow as pa

from station.judgement.conclusion import REFUSALS_OF_THE_MOTOR
from station.record import export
from station.record.export import Column
from station.record.record import Record
from station.record.trouble import is_trouble


class Status(IntEnum):
    """What a status column says of a value; only MEASURED comes with one."""

    MEASURED = 0
    MISSING = 1         # carried out, and gave no such value
    NO_NUMBER = 2       # what came of it is no finite number
    REFUSED = 3         # its capture could not be trusted
    NOT_RUN = 4         # the step or capture that gives it was not carried out


_STATUS = {export.MEASURED: Status.MEASURED, export.MISSING: Status.MISSING, export.NO_NUMBER: Status.NO_NUMBER,
           export.REFUSED: Status.REFUSED, export.NOT_RUN: Status.NOT_RUN}
_RENAMED = {"purpose": "kind", "limit_file_sha256": "limit_sha256"}
_LEFT_OUT = ("motor_type", "sequence_revision", "limit_revision", "failed_values")

NO_SEQ = -1     # of a record from before there was a log


@dataclass(slots=True)
class TableRows:
    """The runs of one motor type and one revision of its sequence."""

    exported: export.WideTable
    labels: dict[str, tuple[str, ...]] = field(default_factory=dict)    # captures of each sequence, by its SHA-256
    _beside: list[dict[str, Any]] = field(default_factory=list)
    _counting: list[tuple[str, int, int]] = field(default_factory=list)     # serial, run and row
    _refused: dict[str, set[int]] = field(default_factory=dict)         # rows, by label of the capture refused

    def __len__(self) -> int:
        return len(self._beside)

    def add(self, record: Record, leaf: bytes | None = None) -> None:
        """Add a run; `leaf` as `export.WideTable.add`."""
        self.exported.add(record, leaf)
        refused = {c["label"]: c["refused"] for c in record["captures"] if c["refused"]}
        for label in refused:
            self._refused.setdefault(label, set()).add(len(self))
        results = [row["result"] for row in record["judged"]]
        self._beside.append({
            "seq": record.get("log", {}).get("seq", NO_SEQ), "order_lot": record.get("order", {}).get("lot", ""),
            "failed": results.count("FAIL"), "missing": results.count("NO RESULT"),
            "refused": bool(refused), "trouble": is_trouble(record),
            "broken": any(why["code"] in REFUSALS_OF_THE_MOTOR for why in refused.values()),
            "first": False, "last": False,
        })
        run = record["serial"], record["run"]
        if record["verdict"] != "NO RESULT" and not record.get("purpose") and run not in self.exported.void:
            self._counting.append((*run, len(self) - 1))
        self._add_labels(record)

    def table(self) -> tuple[pa.Table, tuple[str, ...]]:
        """Return the table and the names of its values; PASS runs stand first, then the others, oldest first each.

        A PASS run has every value that its limits ask for, so that what is to be judged again is told in
        long stretches by the least and the largest value of each, without a look at the rows; see `rejudge`.
        """
        self._mark_attempts()
        columns = [self._beside_column(name) for name in (self._beside[0] if self._beside else ())]
        values = []
        for column in self.exported.columns(with_u=True, with_dof=True):
            if "characteristic" in column.about:
                columns.append(self._measured(column))
                if "unit" in column.about and not column.name.startswith("u("):
                    values.append(column.name)
            elif column.name not in _LEFT_OUT:
                columns.append(_of_run(column))
        fields = [pa.field(column.name, column.kind, metadata=dict(column.about)) for column in columns]
        table = pa.table([pa.array(column.values, column.kind) for column in columns], schema=pa.schema(fields))
        return table.take(self._order(table)), tuple(values)

    def _beside_column(self, name: str) -> Column:
        kinds = {int: pa.int64(), bool: pa.bool_(), str: pa.string()}
        return Column(name, kinds[type(self._beside[0][name])], [row[name] for row in self._beside])

    def _measured(self, column: Column) -> Column:
        """Return a column with nothing in it where the capture was refused, whatever an instrument indicated then."""
        refused = self._refused.get(column.about["capture"], set())
        if column.kind == pa.string():
            states = [Status.REFUSED if row in refused else _STATUS[state] for row, state in enumerate(column.values)]
            return Column(column.name, pa.int8(), states, column.about)
        values = [None if row in refused else value for row, value in enumerate(column.values)] if refused else None
        return Column(column.name, column.kind, values or column.values, column.about)

    def _mark_attempts(self) -> None:
        """Mark of each motor its first and its last run that counts: of the production, not void, with a verdict."""
        for mark, order in (("first", sorted(self._counting, reverse=True)), ("last", sorted(self._counting))):
            for row in {serial: row for serial, _, row in order}.values():
                self._beside[row][mark] = True

    def _order(self, table: pa.Table) -> "np.ndarray[tuple[int], np.dtype[np.int64]]":
        if not len(self):
            return np.arange(0)
        passed = np.array([verdict == "PASS" for verdict in table["verdict"].to_pylist()])
        return np.lexsort((np.arange(len(self)), ~passed))

    def _add_labels(self, record: Mapping[str, Any]) -> None:
        """Keep which captures a sequence asks for: those taken, and those that values were missed from."""
        seen: Sequence[str] = [c["label"] for c in record["captures"]]
        asked = [row["label"] for row in record["judged"] if row["label"]]
        sha256 = record["sequence"]["sha256"]
        self.labels[sha256] = tuple(dict.fromkeys([*self.labels.get(sha256, ()), *seen, *asked]))


def _of_run(column: Column) -> Column:
    """Return a column of the run by the name that it has here, instants as such."""
    if column.name in ("started", "ended"):
        instants = [datetime.fromisoformat(text) for text in column.values]
        return Column(column.name, pa.timestamp("ms", "UTC"), instants)
    return Column(_RENAMED.get(column.name, column.name), column.kind, column.values, column.about)
