"""Capture files: the codes of one capture as Parquet, with the scales that turn them into volts."""

import hashlib
import io
import json
import os
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from station.capture import CHANNELS, Capture, Channel
from station.errors import Fault, FileContractError, StationError
from station.record.capture_metadata import METADATA_KEY, CaptureMetadata, read_metadata
from station.units import RPM

# How the columns of voltages and of sensors are written, whose names begin with v and h, and at which level of zstd.
# A sine is small in its differences; a sensor has two levels, whose low bytes alone hold noise, and differences would
# double that. More effort finds matches in noise, which cost more than they save (measured).
ENCODINGS = {"v": ("DELTA_BINARY_PACKED", 6), "h": ("BYTE_STREAM_SPLIT", 1)}


def write_capture(path: Path, capture: Capture, serial: str = "") -> str:
    """Write `capture` so that it is on disk whole or not at all; return the SHA-256 of the file.

    The bytes go to a file beside `path`, are synced, renamed to `path`, and the folder is synced.

    Raises
    ------
    StationError
        The disk is full, read-only or gone.
    """
    content = capture_bytes(capture, serial)
    write_durably(path, content)
    return hashlib.sha256(content).hexdigest()


def capture_bytes(capture: Capture, serial: str = "") -> bytes:
    """Return `capture` as the bytes of a capture file.

    Raises
    ------
    StationError
        The capture breaks the contract of its file: channels of unequal size, codes that are not
        int16, a channel without scale, a number that is none.
    """
    names = [name for name in CHANNELS if name in capture.codes]
    schema = pa.schema([pa.field(name, pa.int16(), nullable=False) for name in names])
    try:
        metadata = json.dumps(_metadata(capture, names, serial), allow_nan=False).encode()
        table = pa.table([pa.array(capture.codes[name], pa.int16()) for name in names], schema=schema)
    except (pa.ArrowException, ValueError, KeyError) as error:
        raise StationError("capture cannot be stored", where=capture.label or "capture",
                           expected="equally long int16 codes, each channel with finite scale",
                           got=_first_line(error),
                           remedy="Test the motor again; report it if it recurs.") from error
    sink, chosen = io.BytesIO(), {name: ENCODINGS[name[0]] for name in names}
    with pq.ParquetWriter(sink, schema, compression="zstd",
                          compression_level={name: level for name, (_, level) in chosen.items()},
                          column_encoding={name: encoding for name, (encoding, _) in chosen.items()},
                          use_dictionary=False, write_statistics=False, store_schema=False) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata({METADATA_KEY: metadata})
    return sink.getvalue()


def write_durably(path: Path, content: bytes) -> None:
    """Write a file by temporary name, sync, rename and sync of the folder; a StationError if it fails."""
    temporary = path.with_name(path.name + ".tmp")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with suppress(OSError):  # a rest of it would keep the room that is missing
            temporary.unlink(missing_ok=True)
        raise StationError("file could not be written", where=str(path), expected="room and leave to write",
                           got=str(error.strerror or error), code="storage",
                           remedy="Free space or mend the disk; what was to be written does not count.") from error


def make_folder(folder: Path) -> None:
    """Make `folder` and those above it as needed; its name is durable where it was there already, too."""
    if not folder.is_dir():
        make_folder(folder.parent)
        folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Make the names in `folder` durable."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def codes_sha256(capture: Capture) -> str:
    """Return the SHA-256 over the codes, in hexadecimal: channel after channel in the order of `CHANNELS`, int16.

    It stays the same however the codes are stored, so that a file written anew is still provable.
    """
    digest = hashlib.sha256()
    for name in CHANNELS:
        if name in capture.codes:
            digest.update(np.ascontiguousarray(capture.codes[name], dtype="<i2").data)
    return digest.hexdigest()


def read_capture(path: Path) -> Capture:
    """Read a capture file.

    Raises
    ------
    FileContractError
        The file breaks the contract; every breach is named.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise FileContractError([Fault(str(path), "(file)", str(error.strerror or error), "a readable file",
                                       "Give the path of an existing capture file.")]) from error
    return parse_capture(content, str(path))


def parse_capture(content: bytes, name: str) -> Capture:
    """Return the capture in the bytes of a capture file called `name`; errors as `read_capture`."""
    try:
        # In this thread: to share so little out takes longer, and where many are read each processor has its own.
        table = pq.ParquetFile(pa.BufferReader(content)).read(use_threads=False)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise FileContractError([Fault(name, "(file)", _first_line(error), "a Parquet file",
                                       "The file is damaged or of another kind; fetch it again.")]) from error
    metadata, faults = read_metadata(table.schema.metadata or {}, name)
    faults = [*_column_faults(table, name), *faults]
    if metadata is not None:
        faults += _channel_faults(table.column_names, metadata, name)
    if faults or metadata is None:
        raise FileContractError(faults)
    return _capture(table, metadata)


def _column_faults(table: pa.Table, name: str) -> list[Fault]:
    faults = []
    known = ", ".join(CHANNELS)
    for column in table.column_names:
        if column not in CHANNELS:
            faults.append(Fault(name, column, "an unknown column", f"only {known}", "Remove or rename it."))
        elif table.column_names.count(column) > 1:
            faults.append(Fault(name, column, "the same column twice", "one", "Remove one."))
        elif table.schema.field(column).type != pa.int16():
            got = str(table.schema.field(column).type)
            faults.append(Fault(name, column, got, "int16 codes", "Store the codes of the converter."))
        elif table[column].null_count:
            faults.append(Fault(name, column, f"{table[column].null_count} empty values", "a code in every row",
                                "A channel that was not taken is a missing column, never an empty one."))
    if not table.column_names:
        faults.append(Fault(name, "(columns)", "none", f"some of {known}", "Store at least one channel."))
    elif not table.num_rows:
        faults.append(Fault(name, "(rows)", "none", "at least one sample", "Take the capture again."))
    return faults


def _channel_faults(columns: list[str], metadata: CaptureMetadata, name: str) -> list[Fault]:
    faults = [Fault(name, f"channels.{column}", "nothing", "the scale of this column", "Add it to the metadata.")
              for column in columns if column in CHANNELS and column not in metadata.channels]
    faults += [Fault(name, f"channels.{channel}", "a channel", f"a column {channel}",
                     "Remove it: a channel that was not taken has neither column nor scale.")
               for channel in metadata.channels if channel not in columns]
    return faults


def _capture(table: pa.Table, metadata: CaptureMetadata) -> Capture:
    codes = {column: table[column].to_numpy() for column in table.column_names}
    channels: dict[str, Channel] = {
        name: Channel(entry.scale, entry.offset, entry.skew_s, entry.lag_s, entry.code_min,
                      entry.code_max)
        for name, entry in metadata.channels.items()}
    return Capture(codes, channels, metadata.sample_interval_s, metadata.start_s,
                   metadata.declared_speed_rpm * RPM, metadata.drive_speed_rpm * RPM, metadata.temperature_c,
                   metadata.accuracy_limits(), metadata.label or default_label(metadata.declared_speed_rpm),
                   (metadata.part[0], metadata.part[1]))


def as_filed(capture: Capture) -> Capture:
    """Return `capture` with its speeds as they are read back, to the last bit: files hold them in r/min.

    What is analysed before it is filed must give the same bits when it is analysed again.
    """
    return replace(capture, declared_speed=round(capture.declared_speed / RPM, 9) * RPM,
                   drive_speed=capture.drive_speed / RPM * RPM)


def default_label(declared_speed_rpm: float) -> str:
    """Return direction and declared speed, as limit files name a capture."""
    return f"{'reverse' if declared_speed_rpm < 0 else 'forward'} {abs(declared_speed_rpm):g}"


def _metadata(capture: Capture, names: list[str], serial: str) -> dict[str, Any]:
    channels = {name: capture.channels[name] for name in names}
    optional = {"label": capture.label, "serial": serial, "part": [*capture.part] if capture.part[1] > 1 else None}
    return {
        "format": 1, "sample_interval_s": capture.sample_interval, "start_s": capture.start,
        "declared_speed_rpm": round(capture.declared_speed / RPM, 9), "drive_speed_rpm": capture.drive_speed / RPM,
        "temperature_c": capture.temperature_c,
        "channels": {name: {"unit": "V", "scale": c.scale, "offset": c.offset, "skew_s": c.skew, "lag_s": c.lag,
                            "code_min": c.code_min, "code_max": c.code_max} for name, c in channels.items()},
        "accuracy": asdict(capture.accuracy),
        **{key: value for key, value in optional.items() if value},
    }


def _first_line(error: Exception) -> str:
    return (str(error) or type(error).__name__).splitlines()[0][:200]
