"""Counts of differences, held to pandas, which groups the same rows on its own."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.audit.values import Agreement
from station.plant.differences import Differences
from station.plant.result_rows import SCHEMA

NUMBER = st.none() | st.floats(-1e6, 1e6) | st.just(0.0)
ROW = st.fixed_dictionaries({
    "name": st.sampled_from(["thd.ab", "speed", "hall_duty.a"]), "agreement": st.sampled_from([*Agreement, None]),
    "value": NUMBER, "stored_value": NUMBER, "stored_u": NUMBER.map(lambda u: None if u is None else abs(u))})


def table(rows):
    return pa.Table.from_pylist(rows, schema=SCHEMA)


@settings(max_examples=40)
@given(st.lists(st.lists(ROW, max_size=12), max_size=4))
def test_counts_and_largest_differences_are_those_of_another_program(tables):
    found = Differences()
    for rows in tables:
        found.add(table(rows))
    frame = pd.DataFrame([row for rows in tables for row in rows], columns=["name", "agreement", "value",
                                                                          "stored_value", "stored_u"])
    frame["agreement"] = frame["agreement"].astype(object).where(frame["agreement"].notna(), "")
    assert dict(found.counts) == {str(key): n for key, n in frame["agreement"].value_counts().items()}
    numbers = frame[["value", "stored_value", "stored_u"]].astype(float)
    with np.errstate(over="ignore"):
        shift = (numbers["value"] - numbers["stored_value"]).abs() / numbers["stored_u"]
    shift = shift.replace(np.inf, np.nan)
    for name, rows in frame.groupby("name"):
        assert dict(found.by_name[name].counts) == rows["agreement"].value_counts().to_dict()
        assert found.by_name[name].most_u == pytest.approx(np.nan_to_num(shift[rows.index].max()))


def test_only_what_differs_beyond_rounding_is_telling_and_the_largest_comes_first():
    found = Differences()
    common = {"value": 2.0, "stored_value": 1.0}
    found.add(table([{"name": "a", "agreement": "rounded", "stored_u": 0.1, **common},
                     {"name": "b", "agreement": "same", "stored_u": 1.0, "value": 1.0, "stored_value": 1.0}]))
    assert found.is_none
    assert found.telling() == []
    found.add(table([{"name": "b", "agreement": "differs", "stored_u": 0.5, **common},
                     {"name": "c", "agreement": "differs", "stored_u": 0.1, **common},
                     {"name": "d", "agreement": "left out", "value": 1.0}]))
    assert not found.is_none
    assert [(name, one.most_u) for name, one in found.telling()] == [
        ("c", pytest.approx(10)), ("b", pytest.approx(2)), ("d", 0.0)]


@pytest.mark.parametrize("agreement", ["differs", "unfounded", "left out"])
def test_each_kind_of_difference_counts(agreement):
    found = Differences()
    found.add(table([{"name": "a", "agreement": agreement}]))
    assert not found.is_none
