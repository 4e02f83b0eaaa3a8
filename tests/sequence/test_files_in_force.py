"""Every file that a test goes by is kept whole in the store before the test begins."""

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.errors import StationError, UsageError
from station.record.kept_files import FILES, kept_file
from station.sequence import files_in_force
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station
from station.toml_file import parse_toml, read_toml


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    return tmp_path / "line"


def test_the_files_of_a_record_are_those_on_disk_and_are_all_there(folder):
    own = folder / "my_ohmmeter.toml"    # a dialect beside the bench file instead of a shipped one
    bench = folder / "bench.toml"
    own.write_text(files_in_force.dialect_path("embedded_ohmmeter", folder).read_text() + "# ours\n")
    bench.write_text(bench.read_text().replace('dialect = "embedded_ohmmeter"', f'dialect = "{own.name}"'))
    with open_workplace(load_station(folder / "station.toml"), "tester") as place:
        record = place.test("CP60-0003", unwatched).record
    files = {(entry["kind"], entry["name"]): kept_file(folder / "store", entry["sha256"]) for entry in record["files"]}
    for kind, path in (("station file", "station.toml"), ("bench file", "bench.toml"),
                       ("sequence", "sequences/standard.toml"), ("limit file", "limits/CP-60D.toml"),
                       ("dialect", own.name), ("reference motor", "references/CP60-R001.toml")):
        assert files[kind, path.rpartition("/")[2]] == (folder / path).read_bytes()
    told = {record[key]["sha256"] for key in ("bench", "sequence", "limit_file")}
    told |= {instrument["dialect_sha256"] for instrument in record["bench"]["instruments"]}
    assert told <= {entry["sha256"] for entry in record["files"]}


def test_a_file_changed_while_the_station_starts_is_told(folder, monkeypatch):
    changed = folder / "sequences" / "standard.toml"
    monkeypatch.setattr(files_in_force, "read_toml", lambda path: (
        parse_toml(path.read_bytes() + b"# later\n", str(path)) if path == changed else read_toml(path)))
    with pytest.raises(UsageError, match="sequence was changed"), open_workplace(
            load_station(folder / "station.toml"), "tester"):
        pass


def test_no_run_begins_while_a_file_cannot_be_kept(folder):
    with open_workplace(load_station(folder / "station.toml"), "tester") as place:
        (folder / "store" / FILES).write_text("no folder")
        with pytest.raises(StationError, match="could not be kept"):
            place.test("CP40-0001", unwatched)
        assert place.store.unfinished() == []
