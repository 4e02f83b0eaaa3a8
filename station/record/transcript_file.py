"""Transcript files: what was said to and by the instruments in one run, as zstd-compressed JSON lines."""

import hashlib
from pathlib import Path

import pyarrow as pa

from station.errors import Fault, FileContractError
from station.record.capture_file import write_durably

SUFFIX = ".jsonl.zst"


def write_transcript(path: Path, lines: bytes) -> str:
    """Write the JSON `lines` so that they are on disk whole or not at all; return the SHA-256 of the file.

    Raises
    ------
    StationError
        The disk is full, read-only or gone.
    """
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(lines)
    content = sink.getvalue().to_pybytes()
    write_durably(path, content)
    return hashlib.sha256(content).hexdigest()


def parse_transcript(content: bytes, name: str) -> bytes:
    """Return the JSON lines in the bytes of a transcript file called `name`; FileContractError if damaged."""
    if not content:     # which the library takes for no lines
        raise _damaged(name, "an empty file")
    try:
        with pa.CompressedInputStream(pa.BufferReader(content), "zstd") as stream:
            lines: bytes = stream.read()
    except (pa.ArrowException, OSError, ValueError) as error:
        raise _damaged(name, str(error).partition("\n")[0]) from error
    return lines


def _damaged(name: str, got: str) -> FileContractError:
    return FileContractError([Fault(name, "(file)", got, "zstd-compressed JSON lines",
                                    "The file is damaged or of another kind; fetch it again.")])
