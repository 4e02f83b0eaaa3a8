"""Values found in place are those that pyarrow reads, and where they do not lie so none are found."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from station.study.plain_pages import PlainPages, aligned


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
        found = pages.values(chunk)
        assert np.array_equal(found, expected)
        room = np.zeros(group + 5)
        assert np.array_equal(aligned(found, room), expected)
        assert aligned(found, room).flags.aligned


@pytest.mark.parametrize("options", [
    {"compression": "ZSTD"}, {"use_dictionary": True}, {"data_page_size": 1000}, {"write_statistics": False},
    {"column_encoding": {"v": "BYTE_STREAM_SPLIT", "before": "PLAIN"}}], ids=str)
def test_values_that_lie_otherwise_are_not_found(tmp_path, options):
    path = tmp_path / "a.parquet"
    (_, chunk), = written(path, np.random.default_rng(1).normal(size=4000), **options)
    assert PlainPages(path).values(chunk) is None


def test_a_missing_value_is_never_made_up(tmp_path):
    path = tmp_path / "a.parquet"
    (_, chunk), = written(path, [1.0, np.nan, 3.0])
    assert PlainPages(path).values(chunk) is None
