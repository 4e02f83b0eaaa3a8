"""The whole station on instruments of another make: the same verdicts, and the dialects in the record."""

import json

import pytest

from station.bench.dialect import SHIPPED
from station.bench.starter import MODELS
from station.exit_code import ExitCode
from station.toml_file import read_toml

SPEAKERS = ("digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")


@pytest.fixture
def terse_station(folder):
    """The starter folder with a bench file that names the terse dialects, as an engineer would edit it."""
    path = folder / "bench.toml"
    text = path.read_text(encoding="utf-8")
    for role in SPEAKERS:
        model = MODELS[role][0]
        text = text.replace(f'"embedded_{role}"', f'"terse_{role}"').replace(f'"{model}"', f'"{model} TERSE"')
    path.write_text(text, encoding="utf-8")
    return folder / "station.toml"


def test_verdicts_do_not_hang_on_the_make(terse_station, command):
    code, out, _ = command("test", "CP40-0001", "CP40-0002", "--station", terse_station)
    assert code == ExitCode.FAIL
    assert "PASS      CP40-0001" in out
    assert "FAIL      CP40-0002    hall_placement.b" in out
    _, shown, _ = command("records", "show", "CP40-0001", "--station", terse_station, "--json")
    instruments = {i["role"]: i for i in json.loads(shown)["bench"]["instruments"]}
    assert instruments["drive"]["dialect"] == "embedded_drive.toml"
    for role in SPEAKERS:
        assert instruments[role]["dialect"] == f"terse_{role}.toml"
        assert instruments[role]["dialect_sha256"] == read_toml(SHIPPED / f"terse_{role}.toml").sha256
