"""What a station stores is signed with the key that its file names, under the name of its log."""

import shutil

import pytest

from station.cli.setup import write_folder
from station.errors import UsageError
from station.record.log_key import LogKey
from station.sequence.opening import keys_folder, open_store
from station.sequence.station_file import load_station


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    return tmp_path / "line"


def edit(station, old, new):
    text = station.read_text()
    assert old in text
    station.write_text(text.replace(old, new))


def test_a_station_without_keys_keeps_its_log_unsigned(folder):
    edit(folder / "station.toml", '[signing]\nkeys = "keys"\n', "")
    with open_store(load_station(folder / "station.toml")) as store:
        assert (store.log.origin, store.log.key) == ("eol-1", None)
    with pytest.raises(UsageError, match="signs nothing"):
        keys_folder(load_station(folder / "station.toml"))


def test_the_log_is_signed_with_the_key_in_the_folder(folder):
    edit(folder / "station.toml", 'keys = "keys"\n', 'keys = "my_keys"\n')
    station = load_station(folder / "station.toml")
    with pytest.raises(UsageError, match=r"log\.key"):
        open_store(station)
    LogKey.make(folder / "my_keys", station.origin)
    with open_store(station) as store:
        said = store.add_statement("correction", {"format": 1})
        head = store.log.evidence(said["log"]["seq"]).checkpoint
    assert head.startswith("eol-1\n1\n")
    assert "\u2014 eol-1 " in head


def test_the_key_of_another_log_is_refused(folder):
    shutil.rmtree(folder / "keys")
    LogKey.make(folder / "keys", "eol-9")
    with pytest.raises(UsageError, match="another station"):
        open_store(load_station(folder / "station.toml"))
