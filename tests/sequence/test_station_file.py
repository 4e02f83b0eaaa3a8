"""The station file: paths, and how a serial number names its motor type."""

from datetime import time

import pytest

from station.errors import FileContractError
from station.sequence.station_file import load_station

TEXT = """
format = 1
[station]
id = "EOL-1"
place = "hall 2"
[files]
bench = "bench.toml"
sequence = "sequence.toml"
limits = "limits"
store = "store"
[[motor]]
serial_begins = "CP"
limit_file = "short.toml"
[[motor]]
serial_begins = "CP40-"
limit_file = "long.toml"
"""


@pytest.fixture
def station(tmp_path):
    (tmp_path / "station.toml").write_text(TEXT)
    return load_station(tmp_path / "station.toml")


def test_paths_are_relative_to_the_file(station, tmp_path):
    assert station.bench == tmp_path / "bench.toml"
    assert station.simulated is None


def test_the_longest_beginning_names_the_type(station):
    assert station.limit_file_for("CP40-7").name == "long.toml"
    assert station.limit_file_for("CP60-7").name == "short.toml"


def test_an_unknown_serial_is_never_guessed(station):
    with pytest.raises(FileContractError, match="XX-1"):
        station.limit_file_for("XX-1")


def test_faults_are_told(tmp_path):
    (tmp_path / "station.toml").write_text(TEXT.replace('id = "EOL-1"', 'ident = "EOL-1"'))
    with pytest.raises(FileContractError) as caught:
        load_station(tmp_path / "station.toml")
    assert {fault.key for fault in caught.value.faults} == {"station.id", "station.ident"}


REFERENCE = """
[reference]
required = true
shift_starts = [06:00:00, 18:00:00]
time_zone = "Europe/Vienna"
"""


def test_reference_checks(station, tmp_path):
    assert station.reference is None
    (tmp_path / "station.toml").write_text(TEXT + REFERENCE)
    asked = load_station(tmp_path / "station.toml")
    assert asked.reference.shift_starts == [time(6), time(18)]
    assert (asked.reference.longest_h, asked.reference.after_changeover) == (12.0, True)
    assert asked.references == tmp_path / "references"


@pytest.mark.parametrize(("old", "new", "key"), [
    ('"Europe/Vienna"', '"Europe/Hall2"', "reference.time_zone"), ('"Europe/Vienna"', '""', "reference.time_zone"),
    ("06:00:00", '"6:00"', "reference.shift_starts.0"), ("required = true", "", "reference.required"),
    ("required = true", "required = true\nlongest_h = 0.0", "reference.longest_h"),
])
def test_faults_of_the_reference_table_are_told(tmp_path, old, new, key):
    assert old in REFERENCE
    (tmp_path / "station.toml").write_text(TEXT + REFERENCE.replace(old, new))
    with pytest.raises(FileContractError) as caught:
        load_station(tmp_path / "station.toml")
    assert {fault.key for fault in caught.value.faults} == {key}
