"""How far the files of a store have come, for each plant on its own; a file that may be thrown away."""

import pytest

from station.errors import StationError
from station.plant.files_handed import FilesHanded, files_handed_at
from station.plant.plant_client import SentFile
from station.record.cosignature import WitnessKey

LEFT = SentFile("captures/a.parquet", "0" * 64)


@pytest.fixture
def witnesses(tmp_path):
    return [WitnessKey.make(tmp_path / name, "varnholt-works").verifier for name in ("here", "there")]


def test_what_is_noted_is_there_the_next_time(tmp_path, witnesses):
    with FilesHanded(tmp_path, witnesses[0]) as handed:
        assert (handed.entries, handed.left(), handed.why_left()) == (0, [], {})
        handed.note_entries(7)
        handed.note_certificates(["a.pdf", "b.pdf"])
        handed.note_left(LEFT, "altered")
    with FilesHanded(tmp_path, witnesses[0]) as handed:
        assert (handed.entries, handed.left(), handed.why_left()) == (7, [LEFT], {LEFT.name: "altered"})
        assert handed.new_certificates(["a.pdf", "c.pdf", "b.pdf"]) == ["c.pdf"]
        handed.note_certificates(["b.pdf", "c.pdf"])
        handed.note_left(LEFT, "gone")
        assert handed.why_left() == {LEFT.name: "gone"}
        handed.note_left(LEFT, "")
        assert handed.left() == []


def test_each_plant_has_its_own(tmp_path, witnesses):
    with FilesHanded(tmp_path, witnesses[0]) as one, FilesHanded(tmp_path, witnesses[1]) as other:
        one.note_entries(7)
        assert other.entries == 0


def test_a_plant_that_lost_something_is_begun_anew(tmp_path, witnesses):
    with FilesHanded(tmp_path, witnesses[0]) as handed:
        handed.note_entries(7)
        handed.note_certificates(["a.pdf"])
        handed.forget()
        assert (handed.entries, handed.new_certificates(["a.pdf"])) == (0, ["a.pdf"])


def test_a_damaged_file_is_told_and_may_be_removed(tmp_path, witnesses):
    path = files_handed_at(tmp_path, witnesses[0])
    path.write_bytes(b"no database" * 1000)
    with pytest.raises(StationError, match="may be removed"):
        FilesHanded(tmp_path, witnesses[0])
    path.unlink()
    with FilesHanded(tmp_path, witnesses[0]) as handed:
        assert handed.entries == 0
