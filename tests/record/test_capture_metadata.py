"""What a capture file says of itself, and every way in which it may say it wrongly."""

import json

import pytest

from station.capture import Accuracy
from station.record.capture_metadata import METADATA_KEY, read_metadata

CHANNEL = {"unit": "V", "scale": 0.001, "offset": 0.0, "skew_s": 0.0, "lag_s": 0.0, "code_min": -32768,
           "code_max": 32767}
GOOD = {"format": 1, "sample_interval_s": 4e-6, "start_s": 0.0, "declared_speed_rpm": 1500.0,
        "drive_speed_rpm": 1499.2, "temperature_c": 23.4, "channels": {"v_ab": CHANNEL}}


def read(tables):
    return read_metadata({METADATA_KEY: json.dumps(tables).encode()}, "some.parquet")


def test_good_metadata_with_keys_of_its_own():
    metadata, faults = read({**GOOD, "batch": "7", "channels": {"v_ab": {**CHANNEL, "probe": 10}}})
    assert faults == []
    assert metadata.channels["v_ab"].scale == 0.001
    assert metadata.accuracy_limits() == Accuracy()


def test_accuracy_of_the_file_is_taken():
    metadata, _ = read({**GOOD, "accuracy": {"gain": 1e-4}})
    assert metadata.accuracy_limits() == Accuracy(gain=1e-4)


@pytest.mark.parametrize(("change", "key"), [
    ({"format": 2}, "capture.format"), ({"format": True}, "capture.format"),
    ({"sample_interval_s": 0.0}, "capture.sample_interval_s"),
    ({"sample_interval_s": -4e-6}, "capture.sample_interval_s"),
    ({"start_s": "0"}, "capture.start_s"), ({"temperature_c": None}, "capture.temperature_c"),
    ({"channels": {"v_xy": CHANNEL}}, "capture.channels.v_xy"),
    ({"channels": {"v_ab": {**CHANNEL, "unit": "mV"}}}, "capture.channels.v_ab.unit"),
    ({"channels": {"v_ab": {**CHANNEL, "scale": 0.0}}}, "capture.channels.v_ab"),
    ({"channels": {"v_ab": {**CHANNEL, "code_min": 9, "code_max": 9}}}, "capture.channels.v_ab"),
    ({"accuracy": {"gain": -1.0}}, "capture.accuracy.gain"),
    ({"part": [1]}, "capture.part"), ({"part": [0, 2]}, "capture.part.0"), ({"part": [3, 2]}, "capture"),
])
def test_each_fault_is_named(change, key):
    metadata, faults = read({**GOOD, **change})
    assert metadata is None
    assert key in {fault.key for fault in faults}


@pytest.mark.parametrize("stored", [
    {}, {METADATA_KEY: b"{"}, {METADATA_KEY: b"\xff"}, {METADATA_KEY: b"[]"},
    {METADATA_KEY: json.dumps({**GOOD, "start_s": float("nan")}).encode()},
    {METADATA_KEY: json.dumps({**GOOD, "start_s": float("inf")}).encode()},
    {METADATA_KEY: json.dumps(GOOD).replace("23.4", "1e999").encode()},
])
def test_no_metadata_no_json_no_numbers(stored):
    metadata, faults = read_metadata(stored, "some.parquet")
    assert metadata is None
    assert faults
