"""The limit file of a motor type is the one that the station file names, and no other."""

import pytest

from station.cli.setup import write_folder
from station.errors import UsageError
from station.sequence.limits_of_type import limit_file_of, limits_in_force
from station.sequence.station_file import load_station


@pytest.fixture
def station(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    return load_station(tmp_path / "line" / "station.toml")


def test_each_type_has_the_file_that_names_it(station):
    assert {kind: limits.name for kind, limits in limits_in_force(station).items()} == {
        "CP-40": "CP-40.toml", "VB-24": "VB-24.toml", "CP-60D": "CP-60D.toml"}
    assert limit_file_of(station, "VB-24") == station.limits / "VB-24.toml"


def test_the_type_inside_counts_not_the_name_of_the_file(station):
    path = station.limits / "VB-24.toml"
    path.write_text(path.read_text().replace('name = "VB-24"', 'name = "VB-25"'))
    assert limit_file_of(station, "VB-25") == path
    with pytest.raises(UsageError, match="no one limit file"):
        limit_file_of(station, "VB-24")


def test_a_file_that_is_not_there_yet_goes_by_its_name_and_one_that_does_not_hold_is_none(station):
    (station.limits / "VB-24.toml").unlink()
    assert limit_file_of(station, "VB-24") == station.limits / "VB-24.toml"
    (station.limits / "CP-60D.toml").write_text("format = 1")
    assert set(limits_in_force(station)) == {"CP-40"}
