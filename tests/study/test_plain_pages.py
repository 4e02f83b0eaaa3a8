"""Values found in place are those that pyarrow reads, and where they do not lie so none are found."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.study.plain_pages import MOST_GAPS, PlainPages
from station.study.table_file import MEASURED, ONE_PAGE, ROWS_PER_GROUP, TEXTS, About, TableFile, write_table


def written(path, values, **options):
    table = pa.table({"before": ["x"] * len(values), "v": pa.array(values, pa.float64(), from_pandas=True)})
    pq.write_table(table, path, **{"compression": "NONE", "use_dictionary": False, **options})
    file = pq.ParquetFile(path)
    return [(file.read_row_group(group)["v"].to_numpy(), file.metadata.row_group(group).column(1))
            for group in range(file.num_row_groups)]


@pytest.mark.parametrize("version", ["1.0", "2.0"])
@pytest.mark.parametrize(("size", "group"), [(1, 1), (7, 3), (70_000, 16_000), (1000, 1000)])
def test_values_are_found(tmp_path, size, group, version):
    values = np.random.default_rng(size).normal(size=size)
    path = tmp_path / "a.parquet"
    chunks = written(path, values, row_group_size=group, data_page_version=version, data_page_size=1 << 24)
    pages = PlainPages(path)
    for expected, chunk in chunks:
        lying = pages.lying(chunk)
        found = lying.values
        assert np.array_equal(found, expected)
        assert lying.gaps.size == 0


@pytest.mark.parametrize("options", [
    {"compression": "ZSTD"}, {"use_dictionary": True}, {"data_page_size": 1000}, {"write_statistics": False},
    {"column_encoding": {"v": "BYTE_STREAM_SPLIT", "before": "PLAIN"}}], ids=str)
def test_values_that_lie_otherwise_are_not_found(tmp_path, options):
    path = tmp_path / "a.parquet"
    (_, chunk), = written(path, np.random.default_rng(1).normal(size=4000), **options)
    assert PlainPages(path).lying(chunk) is None


@pytest.mark.parametrize("size", [20_001, 20_002, 20_010])      # pyarrow ends a page at 20 000 rows
def test_a_second_page_of_few_values_is_not_overlooked(tmp_path, size):
    path = tmp_path / "a.parquet"
    (_, chunk), = written(path, np.random.default_rng(1).normal(size=size))
    assert PlainPages(path).lying(chunk) is None


def filled(lying, size):
    """Return the rows of a group with NaN where there is no value."""
    rows = np.full(size, np.nan)
    rows[lying.rows(np.arange(lying.values.size))] = lying.values
    return rows


@given(st.lists(st.integers(0, 19).map(bool), min_size=1, max_size=400), st.integers(1, 40))
@settings(deadline=None)
def test_rows_without_a_value_are_told(tmp_path_factory, there, times):
    """In runs of any length, so that both ways of writing them come up; where there are many, nothing is told."""
    values = np.where(np.repeat(there, times), np.arange(len(there) * times, dtype=float), np.nan)
    path = tmp_path_factory.mktemp("gaps") / "a.parquet"
    (expected, chunk), = written(path, values)
    lying = PlainPages(path).lying(chunk)
    gaps = np.flatnonzero(np.isnan(values))
    assert (lying is None) == (gaps.size > MOST_GAPS)
    if lying is None:
        return
    assert np.array_equal(lying.gaps, gaps)
    assert np.array_equal(filled(lying, values.size), expected, equal_nan=True)


def test_single_gaps_in_a_long_column(tmp_path):
    values = np.random.default_rng(1).normal(size=100_000)
    values[np.random.default_rng(2).random(values.size) < 1e-4] = np.nan
    path = tmp_path / "a.parquet"
    for expected, chunk in written(path, values, row_group_size=ROWS_PER_GROUP, **ONE_PAGE):
        lying = PlainPages(path).lying(chunk)
        assert lying.gaps.size == np.isnan(expected).sum()
        assert np.array_equal(filled(lying, expected.size), expected, equal_nan=True)


def test_gaps_in_a_page_of_the_second_version_are_not_told(tmp_path):
    path = tmp_path / "a.parquet"
    (_, chunk), = written(path, [1.0, np.nan, 3.0], data_page_version="2.0")
    assert PlainPages(path).lying(chunk) is None


def test_tables_are_written_so_that_their_values_lie_in_place(tmp_path):
    """Else they are still right, and slow."""
    size = ROWS_PER_GROUP + 1000
    values = np.random.default_rng(3).normal(size=size)
    values[::5000] = np.nan
    texts = {name: ["same"] * size for name in TEXTS}
    table = pa.table({**texts, "x@1": pa.array(values), "u(x@1)": pa.array(np.ones(size)),
                      "status(x@1)": pa.array(np.full(size, MEASURED, np.int8))})
    path = tmp_path / "CP-40-A.parquet"
    write_table(path, table, About("CP-40", "A", "EOL-1", size, "", ("x@1",), {}))
    file = TableFile(path)
    assert file.groups == 2
    for group, expected in enumerate(np.split(values, [ROWS_PER_GROUP])):
        lying = file.in_place("x@1", group)
        assert np.array_equal(filled(lying, expected.size), expected, equal_nan=True)
        assert file.in_place("u(x@1)", group).gaps.size == 0
