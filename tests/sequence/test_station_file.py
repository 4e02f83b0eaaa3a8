"""The station file: paths, and how a serial number names its motor type."""

from datetime import time

import pytest

from station.errors import FileContractError
from station.sequence.plant_address import parse_plant_url
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


def test_one_beginning_never_names_two_types(tmp_path):
    (tmp_path / "station.toml").write_text(TEXT.replace('"CP40-"', '"CP"'))
    with pytest.raises(FileContractError) as caught:
        load_station(tmp_path / "station.toml")
    assert [(fault.key, fault.got) for fault in caught.value.faults] == [("motor.1.serial_begins", "'CP'")]


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


def test_drift_is_charted_by_the_rules_named_and_warned_of_before_a_stop(station, tmp_path):
    assert station.drift is None
    (tmp_path / "station.toml").write_text(TEXT + "[drift]\nstop = true\nwarn_s = 2.5\n")
    drift = load_station(tmp_path / "station.toml").drift
    assert (drift.stop, drift.warn_s, drift.stop_s, drift.smoothing, drift.ewma_limit, drift.stop_share_of_U) == (
        True, 2.5, 3.0, 0.2, 2.962, 0.25)
    for wrong in ("warn_s = 3.0\nstop_s = 3.0\nsmoothing = 0.0", "warn_s = 5.0\nsmoothing = 0.0"):
        (tmp_path / "station.toml").write_text(f"{TEXT}[drift]\n{wrong}\n")
        with pytest.raises(FileContractError) as caught:
            load_station(tmp_path / "station.toml")
        assert {fault.key for fault in caught.value.faults} == {"drift.stop_s", "drift.smoothing"}


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


def test_nothing_is_signed_unless_the_file_says_so(station):
    assert (station.signing, station.keys) == (None, None)


def test_keys_and_the_name_of_the_log(tmp_path):
    (tmp_path / "station.toml").write_text(TEXT.replace('"EOL-1"', '"Hall 2 EOL+1"') + "[signing]\n")
    plain = load_station(tmp_path / "station.toml")
    assert (plain.keys, plain.origin) == (tmp_path / "keys", "hall-2-eol-1")
    (tmp_path / "station.toml").write_text(TEXT + '[signing]\nkeys = "secret"\norigin = "plant.invalid/Eol-1"\n')
    named = load_station(tmp_path / "station.toml")
    assert (named.keys, named.origin) == (tmp_path / "secret", "plant.invalid/Eol-1")


@pytest.mark.parametrize("origin", ["eol 1", "eol+1", "eol\\n1"])
def test_a_name_of_the_log_that_a_signed_note_could_not_hold_is_refused(tmp_path, origin):
    (tmp_path / "station.toml").write_text(TEXT + f'[signing]\norigin = "{origin}"\n')
    with pytest.raises(FileContractError, match=r"signing\.origin"):
        load_station(tmp_path / "station.toml")


PRINTER = """
[printer]
uri = "ipps://printer.invalid:8443/ipp/print"
sides = "two-sided-long-edge"
"""


def test_a_printer(station, tmp_path):
    assert station.printer is None
    (tmp_path / "station.toml").write_text(TEXT + PRINTER)
    asked = load_station(tmp_path / "station.toml").printer
    assert (asked.uri, asked.sides, asked.media, asked.copies, asked.trust) == (
        "ipps://printer.invalid:8443/ipp/print", "two-sided-long-edge", "", 1, "")


@pytest.mark.parametrize(("old", "new", "key"), [
    ("ipps://printer.invalid:8443/ipp/print", "http://printer.invalid/", "printer.uri"),
    ("ipps://printer.invalid:8443/ipp/print", "", "printer.uri"), ("two-sided-long-edge", "both", "printer.sides"),
    ("sides =", "copies = 0\nsides =", "printer.copies"), ("sides =", "side =", "printer.side"),
])
def test_faults_of_the_printer_table_are_told(tmp_path, old, new, key):
    assert old in PRINTER
    (tmp_path / "station.toml").write_text(TEXT + PRINTER.replace(old, new))
    with pytest.raises(FileContractError) as caught:
        load_station(tmp_path / "station.toml")
    assert {fault.key for fault in caught.value.faults} == {key}


PLANT = """
[signing]

[plant]
url = "https://plant.invalid:8490/"
witness = "plant.pub"
"""


def test_a_plant(station, tmp_path):
    assert station.plant is None
    (tmp_path / "station.toml").write_text(TEXT + PLANT)
    named = load_station(tmp_path / "station.toml").plant
    assert (named.url, named.witness, named.trust) == ("https://plant.invalid:8490", "plant.pub", "")


@pytest.mark.parametrize(("url", "parts"), [
    ("https://plant.invalid", ("plant.invalid", 443, "", True)),
    ("https://192.0.2.9:8490/eol/", ("192.0.2.9", 8490, "/eol", True)),
    ("http://127.0.0.1:8490", ("127.0.0.1", 8490, "", False)), ("http://[::1]:80/", ("::1", 80, "", False)),
    ("http://localhost", ("localhost", 80, "", False))])
def test_the_address_of_a_plant(url, parts):
    address = parse_plant_url(url)
    assert (address.host, address.port, address.path, address.is_secure) == parts


@pytest.mark.parametrize(("old", "new", "key"), [
    ("https:", "http:", "plant.url"), ("https:", "ftp:", "plant.url"), ("8490", "84900", "plant.url"),
    ("plant.invalid", "me:secret@plant.invalid", "plant.url"), ("8490/", "8490/?a=b", "plant.url"),
    ('"plant.pub"', '""', "plant.witness"), ("witness", "wittness", "plant.wittness plant.witness"),
    ("[signing]", "", "plant"),
])
def test_faults_of_the_plant_table_are_told(tmp_path, old, new, key):
    assert old in PLANT
    (tmp_path / "station.toml").write_text(TEXT + PLANT.replace(old, new))
    with pytest.raises(FileContractError) as caught:
        load_station(tmp_path / "station.toml")
    assert {fault.key for fault in caught.value.faults} == set(key.split())


def test_a_pattern_finds_the_lot_of_a_type(station, tmp_path):
    assert station.lot_pattern_of("long") == ""
    (tmp_path / "station.toml").write_text(TEXT + "lot_pattern = '^CP40-(?P<lot>[A-Z])'\n")
    marked = load_station(tmp_path / "station.toml")
    assert (marked.lot_pattern_of("long"), marked.lot_pattern_of("short")) == ("^CP40-(?P<lot>[A-Z])", "")


@pytest.mark.parametrize("pattern", ["^CP40-([A-Z])", "^CP40-(?P<lot>[A-Z]"])
def test_a_pattern_that_finds_no_lot_is_refused(tmp_path, pattern):
    (tmp_path / "station.toml").write_text(TEXT + f"lot_pattern = '{pattern}'\n")
    with pytest.raises(FileContractError, match=r"motor\.1\.lot_pattern"):
        load_station(tmp_path / "station.toml")
