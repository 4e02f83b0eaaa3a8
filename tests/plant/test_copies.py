"""A station handed over and copied at the plant: every command that reads a station says the same of its copy."""

import json
import shutil
from contextlib import closing
from pathlib import Path

import pytest
from served_plant import served, write_plant
from store_contents import contents

from station.cli import program
from station.clock import stamp, system_clock
from station.exit_code import ExitCode
from station.plant.database import open_database
from station.plant.plant_file import load_plant
from station.plant.stations import add_station
from station.record.cosignature import load_witness
from station.record.log_key import LogKey
from station.record.schema import DATABASE
from station.record.store import Store
from station.sequence.station_file import load_station

MOTORS = 30     # as few as a study takes
DIGITIZER = "EB-DIG-001"


@pytest.fixture
def command(capfd):
    """Run `station WORDS`; return exit code and printed text."""
    def run(*words):
        code = program.run([str(word) for word in words])
        return code, capfd.readouterr().out

    return run


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    """A station with real captures, a correction and two certificates, which has a plant in its station file."""
    folder = tmp_path_factory.mktemp("station") / "line"
    assert program.run(["demo", "--motors", str(MOTORS), "--out", str(folder)]) == ExitCode.PASS
    file = folder / "station.toml"
    station = load_station(file)
    for serial in sorted(record["serial"] for record in records_of(station))[:2]:
        words = ["certificate", serial, "--station", str(file), "--out", str(folder / "paper.pdf")]
        assert program.run(words) == ExitCode.PASS
    with Store(station.store, log_key=LogKey.load(station.keys), origin=station.origin) as store:
        store.correct(store.find()[3], "void", person="K. Amsel", reason="lead was off", at=stamp(system_clock().utc()))
    return file


def records_of(station):
    with Store(station.store, read_only=True) as store:
        return store.find()


@pytest.fixture(scope="module")
def works(line, plant_address, tmp_path_factory):
    """A plant that the station has handed everything over to; its plant file."""
    file = write_plant(tmp_path_factory.mktemp("works"), plant_address("sqlite"))
    plant = load_plant(file)
    station = load_station(line)
    with closing(open_database(plant.database)) as database:
        add_station(database, str(LogKey.load(station.keys).verifier), person="U. Rabe", at=system_clock().utc())
    witness = line.with_name("plant.pub")
    witness.write_text(f"{load_witness(plant.keys / 'witness.pub')}\n")
    line.write_text(line.read_text() + f'\n[plant]\nurl = "http://127.0.0.1:{plant.port}"\nwitness = "plant.pub"\n')
    with served(file):
        assert program.run(["plant", "forward", "--once", "--station", str(line)]) == ExitCode.PASS
    return file


@pytest.fixture(scope="module")
def copy(works, line):
    """The station file of the copy that the plant keeps."""
    assert program.run(["plant", "copy", "--plant", str(works)]) == ExitCode.PASS
    return works.parent / "copies" / load_station(line).origin / "station.toml"


def test_the_copy_is_the_store(line, copy):
    ours, theirs = load_station(line), load_station(copy)
    assert contents(theirs.store) == contents(ours.store)
    assert (theirs.id, theirs.place, theirs.marks) == (ours.id, ours.place, ours.marks)
    for part in ("captures", "files", "certificates"):
        assert (theirs.store / part).is_symlink()
        assert {path.name: path.read_bytes() for path in (theirs.store / part).iterdir()} == {
            path.name: path.read_bytes() for path in (ours.store / part).iterdir()}


def test_an_audit_of_the_copy_is_clean_and_holds_as_much(line, copy, command):
    assert len(held := audited(line, command, line.parent, "--quick")) > 5
    assert audited(line, command, copy.parent, "--quick") == held
    assert held["signature"] == ("holds", 2)


def test_a_motor_is_recomputed_from_the_copy(line, copy, command):
    serial = records_of(load_station(line))[0]["serial"]
    ours, theirs = (audited(line, command, serial, "--station", file) for file in (line, copy))
    assert theirs == ours
    assert ours["value"][1] > 100


def audited(line, command, *words):
    """What an audit by the plant's authority holds, by step; it is clean."""
    authority = line.parent / "keys" / "plant-ca.pem"
    code, out = command("audit", *words, "--authority", authority, "--json")
    assert code == ExitCode.PASS, out
    told, = json.loads(out)["targets"]
    return {step["step"]: (step["outcome"], step["held"]) for step in told["steps"]}


def test_an_altered_capture_in_the_archive_is_found_and_not_fetched(works, copy, command, tmp_path):
    capture = sorted((load_station(copy).store / "captures").glob("*.parquet"))[5]
    sound = capture.read_bytes()
    try:
        capture.write_bytes(sound[:-1] + b"!")
        code, out = command("audit", copy.parent, "--quick", "--json")
        fetched = command("plant", "copy", "--plant", works, "--to", tmp_path / "carried")[0]
    finally:
        capture.write_bytes(sound)
    assert code == fetched == ExitCode.EVIDENCE
    assert not list((tmp_path / "carried").rglob(capture.name))
    assert [one["code"] for one in json.loads(out)["targets"][0]["findings"] if one["severity"] != "note"] == [
        "file.altered"]


@pytest.mark.parametrize("words", [
    ("study", "type", "CP-40", "--json"), ("study", "risk", "CP-40"), ("records", "find"), ("log", "head"),
    ("audit", "trace", "--instrument", DIGITIZER, "--json"), ("log", "check"), ("log", "prove", "4"),
    ("audit", "recall", "--instrument", DIGITIZER, "--gain-error", "1%", "--json"),
], ids=" ".join)
def test_commands_say_the_same_of_the_copy(line, copy, command, words):
    ours, theirs = (command(*words, "--station", file) for file in (line, copy))
    assert theirs == ours
    assert ours[1]


def test_nothing_is_written_or_signed_by_a_copy(copy, command):
    before = contents(load_station(copy).store)
    serial = records_of(load_station(copy))[5]["serial"]
    for words in (("records", "correct", serial, "--run", "1", "--what", "note", "--person", "A", "--reason", "B"),
                  ("certificate", serial), ("test", serial)):
        assert command(*words, "--station", copy)[0] != ExitCode.PASS
    assert contents(load_station(copy).store) == before
    assert len(list((load_station(copy).store / "certificates").iterdir())) == 2


def test_a_copy_elsewhere_stands_alone(works, copy, command, tmp_path):
    code, out = command("plant", "copy", "--plant", works, "--to", tmp_path / "carried")
    assert code == ExitCode.PASS
    assert "fetched" in out
    folder, = (tmp_path / "carried").iterdir()
    assert not any(path.is_symlink() for path in folder.rglob("*"))
    kept = {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.suffix == ".parquet"}
    assert len(kept) >= MOTORS
    assert command("audit", folder, "--quick")[0] == ExitCode.PASS
    (folder / "store" / next(iter(kept)).relative_to("store")).unlink()
    assert "1 file(s) fetched" in command("plant", "copy", "--plant", works, "--to", tmp_path / "carried")[1]


def test_a_recall_over_all_stations_names_each_that_used_the_instrument(works, copy, command):
    words = ("--plant", works, "--gain-error", "1%")
    code, out = command("plant", "recall", "--instrument", DIGITIZER, *words, "--json")
    told, = json.loads(out)["stations"]
    alone = command("audit", "recall", "--instrument", DIGITIZER, "--gain-error", "1%", "--json", "--station", copy)
    assert (code, {"format": 1, "tests": told["tests"]}) == (alone[0], json.loads(alone[1]))
    assert len(told["tests"]) == MOTORS
    assert "0 station(s)" in command("plant", "recall", "--instrument", "nowhere", *words)[1]


def test_who_asks_for_an_unknown_log_is_told(works, command):
    assert command("plant", "copy", "line-of-nobody", "--plant", works)[0] != ExitCode.PASS
    assert not (works.parent / "copies" / "line-of-nobody").exists()


def test_a_copy_that_was_tampered_with_is_not_gone_on_with(works, copy, command, tmp_path):
    shutil.copytree(copy.parent, tmp_path / "to" / copy.parent.name, symlinks=True)
    database = Path(tmp_path / "to" / copy.parent.name / "store" / DATABASE)
    database.write_bytes(database.read_bytes().replace(b'"verdict":"FAIL"', b'"verdict":"PASS"'))
    assert command("plant", "copy", "--plant", works, "--to", tmp_path / "to")[0] == ExitCode.EVIDENCE


def test_captures_analysed_again_give_the_same_table(line, copy, command, tmp_path):
    tables = []
    for name, archive in (("here", load_station(line).store), ("plant", copy.parents[1])):
        tables.append(tmp_path / f"{name}.parquet")
        words = ["--serial", "CP40-A000*", "--workers", "1", "--to", tables[-1]]
        code, out = command("reanalyse", archive, *words)
        assert (code, "agree to the last bit" in out) == (ExitCode.PASS, True), out
    assert tables[0].read_bytes() == tables[1].read_bytes()
