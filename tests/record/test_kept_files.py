"""Files in force are kept by their content, once, and an altered one is told."""

import hashlib
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import EvidenceError, StationError
from station.record.kept_files import FILES, keep_file, kept_file


@settings(max_examples=15, deadline=None)     # each file is synced several times
@given(st.lists(st.binary(max_size=64), max_size=6))
def test_what_is_kept_comes_back_by_its_hash(tmp_path_factory, contents):
    folder = tmp_path_factory.mktemp("store")
    for content in contents:
        assert keep_file(folder, content) == hashlib.sha256(content).hexdigest()
    for content in contents:
        assert kept_file(folder, hashlib.sha256(content).hexdigest()) == content
    assert len(list(folder.glob(f"{FILES}/*"))) == len(set(contents))


def test_what_is_there_is_not_written_again_but_a_damaged_one_is(tmp_path):
    sha256 = keep_file(tmp_path, b"format = 1\n")
    path = tmp_path / FILES / sha256
    os.utime(path, (1, 1))
    keep_file(tmp_path, b"format = 1\n")
    assert path.stat().st_mtime == 1
    path.write_bytes(b"format = 2\n")
    keep_file(tmp_path, b"format = 1\n")
    assert path.read_bytes() == b"format = 1\n"


def test_missing_and_altered_files_are_told(tmp_path):
    sha256 = keep_file(tmp_path, b"format = 1\n")
    (tmp_path / FILES / sha256).write_bytes(b"format = 2\n")
    with pytest.raises(EvidenceError, match="altered"):
        kept_file(tmp_path, sha256)
    (tmp_path / FILES / sha256).unlink()
    with pytest.raises(EvidenceError, match="cannot be read"):
        kept_file(tmp_path, sha256)


def test_a_place_where_nothing_can_be_written_is_told(tmp_path):
    (tmp_path / FILES).write_text("no folder")
    with pytest.raises(StationError, match="no motor is tested"):
        keep_file(tmp_path, b"")
