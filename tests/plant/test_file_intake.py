"""Files of stations: in a folder and in a place that only fsspec reaches, whole, and never with another content."""

from datetime import UTC, datetime

import fsspec
import pytest

from station.errors import UsageError
from station.plant.alarms import open_alarms
from station.plant.archive import open_archive
from station.plant.file_intake import FileIntake
from station.plant.refused import AwayError, ForkError
from station.plant.stations import add_station
from station.record.log_key import LogKey

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
NAME = "captures/run-000001-1-forward-1500.parquet"


@pytest.fixture
def known(database, new_origin, tmp_path):
    key = LogKey.make(tmp_path / "keys", new_origin())
    return add_station(database, str(key.verifier), person="U. Rabe", at=AT)


@pytest.fixture
def kind():
    return "sqlite"     # nothing here is a matter of the database


@pytest.fixture(params=["folder", "file", "memory"])
def files(request, database, tmp_path):
    url = {"folder": str(tmp_path / "archive"), "file": f"file://{tmp_path / 'archive'}",
           "memory": f"memory://{tmp_path.name}"}[request.param]
    return FileIntake(database, open_archive(url))


def test_a_file_is_kept_and_had_again(files, known):
    assert files.take(known, NAME, b"waveforms", AT)
    assert not files.take(known, NAME, b"waveforms", AT)
    assert files.archive.get(known.origin, NAME) == b"waveforms"
    with pytest.raises(AwayError):
        files.archive.get(known.origin, "captures/none")


def test_nothing_but_the_file_itself_is_left(files, known):
    files.take(known, NAME, b"waveforms", AT)
    if files.archive.folder is not None:
        found = [path.name for path in files.archive.folder.rglob("*") if path.is_file()]
    else:
        found = [path.rpartition("/")[2] for path in fsspec.filesystem("memory").find(files.archive.root)]
    assert found == [NAME.rpartition("/")[2]]


def test_another_content_is_never_written_over_it(files, known, database):
    files.take(known, NAME, b"waveforms", AT)
    for _ in range(2):
        with pytest.raises(ForkError, match="another content"):
            files.take(known, NAME, b"others", AT)
    assert files.archive.get(known.origin, NAME) == b"waveforms"
    with database.reading() as connection:
        assert [alarm.what for alarm in open_alarms(connection, known.number)] == ["file"]


def test_a_file_that_was_written_before_a_crash_counts_once_it_comes_again(files, known):
    files.archive.put(known.origin, NAME, b"waveforms")
    assert files.missing(known, {NAME: bytes(32)}) == [NAME]
    with pytest.raises(ForkError):
        files.take(known, NAME, b"others", AT)
    assert files.archive.get(known.origin, NAME) == b"waveforms"
    assert files.take(known, NAME, b"waveforms", AT)
    assert not files.take(known, NAME, b"waveforms", AT)


def test_an_archive_that_is_gone_is_told(database, known, tmp_path):
    (tmp_path / "archive").write_bytes(b"")     # no folder
    files = FileIntake(database, open_archive(str(tmp_path / "archive")))
    with pytest.raises(AwayError, match="cannot be reached"):
        files.take(known, NAME, b"waveforms", AT)
    assert files.missing(known, {NAME: bytes(32)}) == [NAME]


@pytest.mark.parametrize("url", ["nothing://archive", "s4://archive"])
def test_an_address_that_nobody_speaks_to_is_refused(url):
    with pytest.raises(UsageError, match="cannot be spoken to"):
        open_archive(url)
