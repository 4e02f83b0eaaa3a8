"""station.record.transcript_file: what is written comes back, whole."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FileContractError, StationError
from station.record.transcript_file import parse_transcript, write_transcript


@given(st.binary(max_size=2000))
def test_lines_come_back(tmp_path_factory, lines):
    path = tmp_path_factory.mktemp("t") / "transcript.jsonl.zst"
    sha256 = write_transcript(path, lines)
    content = path.read_bytes()
    assert parse_transcript(content, "t") == lines
    assert sha256 == hashlib.sha256(content).hexdigest()
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_polling_takes_little_room(tmp_path):
    lines = b"".join(b'{"monotonic_s": %d.25, "role": "drive", "text": "MEAS:SPE?"}\n' % i for i in range(10_000))
    write_transcript(tmp_path / "t", lines)
    assert (tmp_path / "t").stat().st_size < len(lines) / 5


@pytest.mark.parametrize("content", [b"", b"no zstd at all"], ids=["empty", "text"])
def test_another_file_is_told(content):
    with pytest.raises(FileContractError, match="zstd"):
        parse_transcript(content, "other")


def test_a_cut_file_is_told(tmp_path):
    write_transcript(tmp_path / "t", bytes(range(256)) * 100)
    content = (tmp_path / "t").read_bytes()
    with pytest.raises(FileContractError, match="zstd"):
        parse_transcript(content[:-20], "cut")


def test_a_folder_that_is_gone_is_told(tmp_path):
    with pytest.raises(StationError, match="could not be written"):
        write_transcript(tmp_path / "gone" / "t", b"")
