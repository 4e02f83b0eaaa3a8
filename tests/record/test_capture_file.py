"""Capture files keep every code and scale, and a faulty one is told in full."""

import hashlib
import io
import json
import resource
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from station.capture import CHANNELS, Accuracy, Capture, Channel
from station.errors import FileContractError, StationError
from station.record.capture_file import (
    as_filed,
    capture_bytes,
    codes_sha256,
    default_label,
    parse_capture,
    read_capture,
    write_capture,
)
from station.units import RPM


def capture(names=CHANNELS, size=500, seed=1):
    codes = np.random.default_rng(seed).integers(-32768, 32768, (len(names), size)).astype(np.int16)
    channels = {name: Channel(1e-3 * (k + 1), 0.01 * k, 1e-8 * k, 2e-7, -32000, 32000)
                for k, name in enumerate(names)}
    return Capture(dict(zip(names, codes, strict=True)), channels, 4e-6, 0.25, -1500 * RPM, -1499.2 * RPM, 23.4,
                   Accuracy(gain=1e-4), "reverse 1500")


def assert_same(one, other):
    assert list(one.codes) == list(other.codes)
    for name, codes in one.codes.items():
        assert other.codes[name].dtype == np.int16
        np.testing.assert_array_equal(codes, other.codes[name])
    assert one.channels == other.channels
    assert one.accuracy == other.accuracy
    assert (one.label, one.sample_interval, one.start, one.temperature_c) == (
        other.label, other.sample_interval, other.start, other.temperature_c)
    assert (one.declared_speed, one.drive_speed) == pytest.approx((other.declared_speed, other.drive_speed))


@pytest.mark.parametrize("names", [CHANNELS, ("v_ab", "v_bc", "v_ca"), ("v_ab", "h_b")])
def test_what_is_written_is_read(tmp_path, names):
    path = tmp_path / "one.parquet"
    written = capture(names)
    sha256 = write_capture(path, written, serial="CP40-0001")
    assert sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert_same(written, read_capture(path))
    assert list(tmp_path.iterdir()) == [path]


@given(arrays(np.int16, st.integers(1, 300)))
def test_any_codes_come_back(codes):
    one = replace(capture(("v_ab",)), codes={"v_ab": codes})
    np.testing.assert_array_equal(parse_capture(capture_bytes(one), "x").codes["v_ab"], codes)


@given(st.floats(0.1, 30000), st.floats(-3000, 3000))
def test_a_capture_as_filed_comes_back_to_the_last_bit(declared_rpm, drive_speed):
    filed = as_filed(replace(capture(("v_ab",)), declared_speed=declared_rpm * RPM, drive_speed=drive_speed))
    back = parse_capture(capture_bytes(filed), "x")
    assert (back.declared_speed, back.drive_speed) == (filed.declared_speed, filed.drive_speed)


@pytest.mark.parametrize("part", [(1, 1), (2, 2)])
def test_which_part_of_a_stitched_capture_comes_back(part):
    one = replace(capture(("v_ab", "h_b")), part=part)
    assert parse_capture(capture_bytes(one), "x").part == part


def test_the_file_is_as_the_contract_says():
    file = pq.ParquetFile(pa.BufferReader(capture_bytes(capture())))
    for k, name in enumerate(CHANNELS):
        column = file.metadata.row_group(0).column(k)
        assert column.path_in_schema == name
        assert column.compression == "ZSTD"
        assert ("DELTA_BINARY_PACKED" if name.startswith("v") else "BYTE_STREAM_SPLIT") in column.encodings
        assert not column.has_dictionary_page
    metadata = json.loads(file.schema_arrow.metadata[b"capture"])
    assert metadata["declared_speed_rpm"] == -1500.0
    assert metadata["channels"]["v_bc"]["unit"] == "V"


def test_the_file_opens_with_plain_pandas(tmp_path):
    write_capture(tmp_path / "one.parquet", capture())
    frame = pd.read_parquet(tmp_path / "one.parquet")
    assert list(frame.columns) == list(CHANNELS)
    assert set(frame.dtypes) == {np.dtype("int16")}
    for name, codes in capture().codes.items():
        np.testing.assert_array_equal(frame[name], codes)


def faulty(columns, change=None, drop_metadata=False):
    metadata = json.loads(pq.read_schema(pa.BufferReader(capture_bytes(capture()))).metadata[b"capture"])
    table = pa.table(columns).replace_schema_metadata(
        None if drop_metadata else {b"capture": json.dumps({**metadata, **(change or {})}).encode()})
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink)
    return sink.getvalue().to_pybytes()


def good_columns():
    return {name: pa.array([1, 2, 3], pa.int16()) for name in CHANNELS}


@pytest.mark.parametrize(("columns", "key"), [
    ({"v_ab": pa.array([1.0, float("nan"), 2.0])}, "v_ab"),
    ({"v_ab": pa.array([1, 2, 3], pa.int32())}, "v_ab"),
    ({"v_ab": pa.array([1, None, 3], pa.int16())}, "v_ab"),
    ({"v_xy": pa.array([1, 2, 3], pa.int16())}, "v_xy"),
])
def test_each_faulty_column_is_named(columns, key):
    with pytest.raises(FileContractError) as caught:
        parse_capture(faulty({**good_columns(), **columns}), "some.parquet")
    assert {fault.key for fault in caught.value.faults} == {key}


def test_every_fault_of_columns_and_metadata_comes_at_once():
    columns = {**good_columns(), "v_ab": pa.array([1.0, 2.0, 3.0]), "extra": pa.array([1, 2, 3], pa.int16())}
    with pytest.raises(FileContractError) as caught:
        parse_capture(faulty(columns, {"sample_interval_s": -1.0, "start_s": None}), "some.parquet")
    assert {fault.key for fault in caught.value.faults} == {
        "v_ab", "extra", "capture.sample_interval_s", "capture.start_s"}


def test_columns_and_scales_belong_together():
    columns = good_columns()
    del columns["h_c"]
    with pytest.raises(FileContractError, match=r"channels\.h_c"):
        parse_capture(faulty(columns), "some.parquet")


def test_missing_metadata_no_rows_and_no_parquet(tmp_path):
    with pytest.raises(FileContractError, match="metadata key"):
        parse_capture(faulty(good_columns(), drop_metadata=True), "some.parquet")
    with pytest.raises(FileContractError, match="at least one sample"):
        parse_capture(faulty({name: pa.array([], pa.int16()) for name in CHANNELS}), "some.parquet")
    with pytest.raises(FileContractError, match="a Parquet file"):
        parse_capture(b"PAR1 and no more", "some.parquet")
    with pytest.raises(FileContractError, match="readable"):
        read_capture(tmp_path / "absent.parquet")


@pytest.mark.parametrize("cut", [4, 100, 1000])
def test_a_torn_file_is_told(cut):
    with pytest.raises(FileContractError):
        parse_capture(capture_bytes(capture())[:-cut], "some.parquet")


def test_a_capture_that_breaks_the_contract_is_not_written(tmp_path):
    path = tmp_path / "one.parquet"
    good = capture(("v_ab", "v_bc"))
    for bad in (replace(good, temperature_c=float("nan")),
                replace(good, codes={"v_ab": good.codes["v_ab"], "v_bc": good.codes["v_bc"][1:]}),
                replace(good, channels={"v_ab": Channel(1.0)})):
        with pytest.raises(StationError, match="cannot be stored"):
            write_capture(path, bad)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(StationError, match="could not be written"):
        write_capture(tmp_path / "absent" / "one.parquet", capture())


def test_a_disk_without_room_is_told_and_nothing_is_left(tmp_path):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, hard))  # as a full disk: the write stops half way
    try:
        with pytest.raises(StationError, match="could not be written"):
            write_capture(tmp_path / "one.parquet", capture())
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("names", [CHANNELS, ("v_ab", "h_a"), ("h_c", "v_bc", "v_ab")])
def test_the_hash_of_the_codes_is_that_of_little_endian_channels_in_order(names):
    one = capture(names)
    wanted = hashlib.sha256(b"".join(b"".join(int(code).to_bytes(2, "little", signed=True) for code in one.codes[name])
                                     for name in CHANNELS if name in names))
    assert codes_sha256(one) == wanted.hexdigest()


def test_the_hash_of_the_codes_outlives_their_file():
    content = capture_bytes(capture())
    table = pq.read_table(io.BytesIO(content))
    sink = io.BytesIO()
    pq.write_table(table, sink, compression="snappy")
    assert sink.getvalue() != content
    assert codes_sha256(parse_capture(sink.getvalue(), "here")) == codes_sha256(capture())
    spaced = {name: np.repeat(codes, 2)[::2] for name, codes in capture().codes.items()}    # not contiguous
    assert codes_sha256(replace(capture(), codes=spaced)) == codes_sha256(capture())
    assert codes_sha256(capture(seed=2)) != codes_sha256(capture())


def test_default_label():
    assert default_label(-1500.0) == "reverse 1500"
    assert default_label(2000.5) == "forward 2000.5"
