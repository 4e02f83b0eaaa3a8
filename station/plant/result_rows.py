"""The columns of a table of re-analysis, and the table of what came of some tests.

A chunk has tens of thousands of values: they come as tuples and are turned into columns at once, and what is the same
for all values of a test is told once a test. As one dictionary a value it would take four times as long.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import pyarrow as pa


class Whose(NamedTuple):
    """The test of which values are; of captures without a record only `source`, the first file, and the type."""

    source: str | None = None
    origin: str | None = None
    seq: int | None = None
    serial: str | None = None
    run: int | None = None
    motor_type: str | None = None
    started: str | None = None


class Row(NamedTuple):
    """One value as it comes out today and as it is stored; a number that is none or infinite is None."""

    label: str
    name: str
    unit: str
    value: float | None
    u: float | None
    dof: float | None
    stored_value: float | None = None
    stored_u: float | None = None
    stored_dof: float | None = None
    agreement: str | None = None        # see `audit.values.Agreement`; None where there is no record


TEXT = pa.dictionary(pa.int32(), pa.string())
_OF_TESTS = pa.schema([
    ("source", pa.string()), ("origin", TEXT), ("seq", pa.int64()), ("serial", TEXT), ("run", pa.int32()),
    ("motor_type", TEXT), ("started", TEXT)])
_OF_VALUES = pa.schema([
    ("label", TEXT), ("name", TEXT), ("unit", TEXT), ("value", pa.float64()), ("u", pa.float64()),
    ("dof", pa.float64()), ("stored_value", pa.float64()), ("stored_u", pa.float64()), ("stored_dof", pa.float64()),
    ("agreement", TEXT)])
SCHEMA = pa.schema([*_OF_TESTS, *_OF_VALUES])
# Columns whose values come again and again; a dictionary of measured values would be as long as they are.
REPEATED = [field.name for field in SCHEMA if field.type != pa.float64()]


def table_of(found: Iterable[tuple[Whose, Sequence[Row]]]) -> pa.Table:
    """Return a table with `SCHEMA`: a row for each value of each test, in the order given."""
    tests = [(whose, rows) for whose, rows in found if rows]
    of_tests = _columns([whose for whose, _ in tests], _OF_TESTS)
    places = pa.array(np.repeat(np.arange(len(tests)), [len(rows) for _, rows in tests]))
    of_values = _columns([row for _, rows in tests for row in rows], _OF_VALUES)
    return pa.Table.from_arrays([*(column.take(places) for column in of_tests), *of_values], schema=SCHEMA)


def _columns(rows: list[Whose] | list[Row], schema: pa.Schema) -> list[pa.Array]:
    """Return rows, whose fields stand in the order of `schema`, as one array for each of its columns."""
    columns = zip(*rows, strict=True) if rows else ([] for _ in schema)
    return [pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)]
