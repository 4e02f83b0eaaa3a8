"""Wide tables say what the records say, and open with plain pandas."""

import csv
import io
import math

import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.record.export import MEASURED, MISSING, NO_NUMBER, NOT_RUN, REFUSED, WideTable, as_csv, as_parquet
from station.record.record import interrupted_record

AT = "2026-11-25T10:00:00.000Z"
STEP = {"name": "Back-drive", "kind": "back-drive", "outcome": "done", "started": AT, "ended": AT, "note": ""}
PEAK, RESISTANCE = "back_emf_constant_peak.ab@forward 1500", "winding_resistance.ab"
READERS = {"csv": (as_csv, lambda content: pd.read_csv(io.BytesIO(content))),
           "parquet": (as_parquet, lambda content: pd.read_parquet(io.BytesIO(content)))}


def measured(name, value, unit, u=0.01):
    plain, _, label = name.partition("@")
    return {"name": plain, "label": label, "value": value, "u": u, "dof": None, "unit": unit, "budget": []}


def record_of(serial="A", measurements=(), refused=None, steps=(STEP,), captures=True, **changes):
    captured = [{"label": "forward 1500", "refused": refused}] if captures else []
    return {**interrupted_record(serial, AT, AT, {}), "run": 1, "steps": list(steps), "captures": captured,
            "measurements": list(measurements), "conditions": {"ambient_temperature_degC": 23.5}, **changes}


def table_of(*records, **about):
    table = WideTable(**about)
    for record in records:
        table.add(record)
    return table


@pytest.fixture(params=READERS)
def read(request):
    write, reader = READERS[request.param]
    return lambda table, **options: reader(write(list(table.columns(**options))))


def test_each_absence_is_told_from_every_other(read):
    peak = f"{PEAK} [V/krpm]"
    frame = read(table_of(
        record_of("A", [measured(PEAK, 10.01, "V/krpm"), measured(RESISTANCE, 0.42, "ohm")]),
        record_of("B", [measured(PEAK, None, "V/krpm")]),
        record_of("C", refused={"code": "open_phase", "text": "open"}),
        record_of("D", captures=False, steps=[{**STEP, "outcome": "not run"}]),
        record_of("E"), record_of("F", steps=[])))
    assert list(frame[f"status({PEAK})"]) == [MEASURED, NO_NUMBER, REFUSED, NOT_RUN, MISSING, MISSING]
    assert list(frame[f"status({RESISTANCE})"]) == [MEASURED, MISSING, MISSING, NOT_RUN, MISSING, NOT_RUN]
    assert frame[peak][0] == 10.01
    assert all(math.isnan(value) for value in frame[peak][1:])
    assert list(frame["serial"]) == list("ABCDEF")
    assert (frame["ambient_temperature [degC]"] == 23.5).all()


def test_uncertainties_stand_beside_their_values_if_asked_for(read):
    table = table_of(record_of("A", [measured(PEAK, 10.0, "V/krpm", 0.02)]),
                     record_of("B", [measured(PEAK, 10.0, "V/krpm", None)]))
    assert not any(name.startswith("u(") for name in read(table).columns)
    frame = read(table, with_u=True)
    assert frame[f"u({PEAK}) [V/krpm]"][0] == 0.02
    assert math.isnan(frame[f"u({PEAK}) [V/krpm]"][1])


def test_void_suspect_and_failed_runs_are_marked(read):
    judged = [{"result": result} for result in ("FAIL", "PASS", "FAIL")]
    frame = read(table_of(record_of("A", judged=judged, verdict="FAIL"), record_of("B", purpose="reference check"),
                          void=frozenset({("A", 1)}), suspect=frozenset({("B", 1)})))
    assert list(frame["void"]) == [True, False]
    assert list(frame["suspect"]) == [False, True]
    assert list(frame["failed_values"]) == [2, 0]
    assert list(frame["purpose"]) == ["production", "reference check"]


def test_units_stand_in_the_fields_of_parquet():
    schema = pq.read_schema(io.BytesIO(as_parquet(list(table_of(
        record_of("A", [measured(PEAK, 10.0, "V/krpm")])).columns(with_u=True)))))
    for header in (f"{PEAK} [V/krpm]", f"u({PEAK}) [V/krpm]"):
        assert schema.field(header).metadata[b"unit"] == b"V/krpm"
        assert schema.field(header).metadata[b"capture"] == b"forward 1500"


def test_texts_with_commas_quotes_and_lines_come_back(read):
    reason = 'failed: "hall", twice\nand more, Größe 5 µs'
    assert read(table_of(record_of(reason=reason)))["reason"][0] == reason


@pytest.mark.parametrize("start", list("=+-@\t\r\n"))
def test_no_text_is_a_formula_to_a_spreadsheet(start):
    reason = start + 'HYPERLINK("http://invalid","x")'
    columns = list(table_of(record_of(reason=reason), record_of("B", [measured(PEAK, -1.5, "V/krpm")])).columns())
    rows = list(csv.DictReader(io.StringIO(as_csv(columns).decode(), newline="")))
    assert rows[0]["reason"] == "'" + reason
    assert rows[1][f"{PEAK} [V/krpm]"] == "-1.5"        # numbers stay numbers
    assert pd.read_parquet(io.BytesIO(as_parquet(columns)))["reason"][0] == reason


@given(st.lists(st.dictionaries(st.sampled_from([PEAK, RESISTANCE, "drag_torque@forward 1500"]),
                                st.none() | st.floats(allow_nan=False, allow_infinity=False)), min_size=1, max_size=8))
def test_every_value_comes_back_to_the_last_bit(rows):
    records = [record_of(str(k), [measured(name, value, "1") for name, value in row.items()])
               for k, row in enumerate(rows)]
    columns = list(table_of(*records).columns())
    for write, reader in READERS.values():
        frame = reader(write(columns))
        for name in {name for row in rows for name in row}:
            for row, (value, status) in zip(rows, zip(frame[f"{name} [1]"], frame[f"status({name})"], strict=True),
                                            strict=True):
                assert (status == MEASURED) == (row.get(name) is not None)
                assert math.isnan(value) if row.get(name) is None else value == row[name]
