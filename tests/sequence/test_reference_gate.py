"""The gate before every motor, on a real store and real files, its clock held by hand."""

from datetime import UTC, datetime, timedelta

import pytest

import station
from station.bench.bench_file import load_bench
from station.cli.setup import write_folder
from station.clock import Clock, stamp
from station.errors import BenchNotFitError
from station.exit_code import ExitCode
from station.record.store import Store
from station.sequence.reference_file import load_references
from station.sequence.reference_gate import covering_check
from station.sequence.station_file import load_station
from station.sequence_file import parse_sequence
from station.toml_file import read_toml

SIX = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)      # a shift of the starter folder begins


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True, reference_checks=True)
    return tmp_path / "line"


@pytest.fixture
def store(folder):
    with Store(folder / "store") as opened:
        yield opened


def gate(folder, store, now, motor_type="CP-40"):
    place = load_station(folder / "station.toml")
    clock = Clock(utc=lambda: now, monotonic=lambda: 0.0, pause=lambda _seconds: None)
    return covering_check(place, store, load_bench(place.bench), parse_sequence(read_toml(place.sequence)), motor_type,
                          clock)


def enter(folder, store, started, result="GOOD", motor_type="CP-40"):
    """Enter a check as one made with the files of the folder."""
    place = load_station(folder / "station.toml")
    motors = [{"serial": m.serial, "sha256": m.sha256} for m in load_references(place.references, motor_type)]
    return store.add_reference_check({
        "motor_type": motor_type, "result": result, "started": stamp(started), "ended": stamp(started),
        "bench_sha256": read_toml(place.bench).sha256, "sequence_sha256": read_toml(place.sequence).sha256,
        "software": station.__version__, "motors": motors})


def refusal(folder, store, now, motor_type="CP-40"):
    with pytest.raises(BenchNotFitError) as caught:
        gate(folder, store, now, motor_type)
    assert caught.value.exit_code is ExitCode.BENCH_NOT_FIT
    assert f"station reference check --type {motor_type}" in caught.value.remedy
    return str(caught.value.got)


def test_a_check_covers_its_shift_and_no_other(folder, store):
    assert "ever made" in refusal(folder, store, SIX)
    made = enter(folder, store, SIX)
    assert gate(folder, store, SIX + timedelta(hours=7, minutes=59)) == {
        "check": made["check"], "started": stamp(SIX), "ended": stamp(SIX)}
    assert "before this shift" in refusal(folder, store, SIX + timedelta(hours=8))
    assert "set back" in refusal(folder, store, SIX - timedelta(seconds=1))
    assert "VB-24 was ever made" in refusal(folder, store, SIX, "VB-24")


def test_a_bad_check_shuts_the_line_for_every_type(folder, store):
    enter(folder, store, SIX)
    enter(folder, store, SIX, "BAD", "VB-24")
    assert "VB-24, was BAD" in refusal(folder, store, SIX)
    assert "was BAD" in refusal(folder, store, SIX, "VB-24")
    enter(folder, store, SIX)
    assert gate(folder, store, SIX)["check"] == 3


@pytest.mark.parametrize(("file", "words"), [
    ("bench.toml", "bench file"), ("sequences/standard.toml", "sequence"),
    ("references/CP40-R001.toml", "reference file"), ("references/CP40-R002.toml", "reference file"),
])
def test_a_changed_file_needs_another_check(folder, store, file, words):
    enter(folder, store, SIX)
    assert gate(folder, store, SIX)
    path = folder / file
    path.write_text(path.read_text() + "# looked through\n")
    assert words in refusal(folder, store, SIX)


def test_reference_files_of_another_type_do_not_matter(folder, store):
    enter(folder, store, SIX)
    (folder / "references" / "VB24-R001.toml").unlink()
    assert gate(folder, store, SIX)["check"] == 1


def test_nothing_is_asked_where_the_station_file_does_not_ask(folder, store):
    path = folder / "station.toml"
    path.write_text(path.read_text().replace("required = true", "required = false"))
    assert gate(folder, store, SIX) is None
    table, _, rest = path.read_text().partition("[reference]")
    path.write_text(table + rest[rest.index("[simulated]"):])
    assert gate(folder, store, SIX) is None
