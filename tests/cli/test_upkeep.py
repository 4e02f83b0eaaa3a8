"""Records corrected, exported, thinned out and checked from the command line, on tests of the embedded bench."""

import json
import shutil

import pandas as pd
import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.exit_code import ExitCode
from station.record.record import interrupted_record
from station.record.store import Store
from station.sequence.progress import unwatched
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station

LONG_AGO, LATER = "2026-01-01T10:00:00.000Z", "2026-01-05T10:00:00.000Z"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A station that has tested two motors, one of them twice."""
    folder = tmp_path_factory.mktemp("upkeep") / "line"
    write_folder(folder, pace=20.0, free_ports=True)
    with open_workplace(load_station(folder / "station.toml"), "tester") as place:
        for serial in ("CP40-0001", "CP60-0003", "CP40-0001"):
            place.test(serial, unwatched, further=FurtherRun("K", "twice"))
    return folder


@pytest.fixture
def line(made, tmp_path):
    """A copy of that station."""
    return shutil.copytree(made, tmp_path / "line")


@pytest.fixture
def records(line, command):
    return lambda *words: command("records", *words, "--station", line / "station.toml")


def test_every_entry_keeps_to_its_schema(line, records):
    code, out, _ = records("check")
    assert code == 0
    assert out.endswith(" 0 with faults\n")


def test_a_void_run_is_shown_as_such_everywhere(line, records):
    words = ("--person", "K. Muster", "--reason", "fitted askew")
    assert records("correct", "CP40-0001", "--run", "9", "--what", "void", *words)[0] == ExitCode.WRONG_USE
    assert records("correct", "CP40-0001", "--run", "2", "--what", "vex", *words)[0] == ExitCode.WRONG_USE
    assert records("correct", "CP40-0001", "--run", "2", "--what", "note", *words)[0] == 0
    assert "VOID" not in records("find")[1]
    code, out, _ = records("correct", "CP40-0001", "--run", "2", "--what", "void", *words)
    assert (code, "of the log" in out) == (0, True)
    assert records("correct", "CP40-0001", "--run", "2", "--what", "void", *words)[0] == ExitCode.WRONG_USE
    lines = [each for each in records("find")[1].splitlines() if "VOID" in each]
    assert len(lines) == 1
    assert "CP40-0001" in lines[0]
    assert "VOID, counts as no test: fitted askew (K. Muster" in records("show", "CP40-0001")[1]
    code, out, err = records("show", "CP40-0001", "--json")
    assert json.loads(out)["verdict"] == "PASS"
    assert "VOID" in err
    assert "VOID" not in records("show", "CP40-0001", "--run", "1")[1]
    assert records("check")[0] == 0


def test_the_certificate_of_a_motor_is_that_of_its_last_run_that_is_not_void(line, command, records, tmp_path):
    records("correct", "CP40-0001", "--run", "2", "--what", "void", "--person", "K", "--reason", "fitted askew")
    paths = [tmp_path / f"{k}.pdf" for k in range(3)]
    for path, run in zip(paths, ((), ("--run", "1"), ("--run", "2")), strict=True):
        code, _, err = command("certificate", "CP40-0001", "--station", line / "station.toml", "--out", path, *run)
        assert (code, "VOID" in err) == (0, run == ("--run", "2"))
    assert paths[0].read_bytes() == paths[1].read_bytes() != paths[2].read_bytes()


def test_a_table_of_a_type_opens_with_plain_pandas(line, records, tmp_path):
    frames = {}
    for kind, read in (("csv", pd.read_csv), ("parquet", pd.read_parquet)):
        file = tmp_path / f"cp40.{kind}"
        code, out, _ = records("export", file, "--type", "CP-40", "--uncertainty")
        assert (code, "2 test(s)" in out) == (0, True)
        frames[kind] = read(file)
    frame = frames["parquet"]
    assert list(frames["csv"].columns) == list(frame.columns)
    numbers = frame.select_dtypes("number").columns
    pd.testing.assert_frame_equal(frames["csv"][numbers], frame[numbers])
    with Store(line / "store", read_only=True) as store:
        stored = store.show("CP40-0001")
    for row, record in enumerate(stored):
        for measured in record["measurements"]:
            name = f"{measured['name']}@{measured['label']}" if measured["label"] else measured["name"]
            assert frame[f"{name} [{measured['unit']}]"][row] == measured["value"]
            assert frame[f"u({name}) [{measured['unit']}]"][row] == measured["u"]
            assert frame[f"status({name})"][row] == "measured"
    assert list(frame["run"]) == [1, 2]


@pytest.mark.parametrize(("words", "told"), [
    (("export", "all.xlsx", "--type", "CP-40"), ".csv or .parquet"),
    (("export", "all.csv", "--type", "CP-99"), "no table"),
    (("export", "all.csv", "--type", "CP-40", "--sequence-revision", "Z"), "got A"),
    (("retain",), "[retention]"),
])
def test_what_cannot_be_is_told_and_nothing_is_written(records, words, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, _, err = records(*words)
    assert (code, told in err) == (ExitCode.WRONG_USE, True)
    assert [path.name for path in tmp_path.iterdir()] == ["line"]


def test_captures_are_removed_by_the_rules_of_the_station_file(line, records):
    station = line / "station.toml"
    text = station.read_text()
    station.write_text(text + "\n[retention]\npass_days = 0\n")
    assert "retention.pass_days" in records("retain", "--dry-run")[2]
    station.write_text(text + "\n[retention]\npass_days = 1\n")
    assert records("retain")[0] == ExitCode.WRONG_USE       # nobody answers for it
    files = sorted(line.rglob("*.parquet"))
    assert "0 file(s) removed" in records("retain", "--person", "K")[1]     # all tests are of today
    assert sorted(line.rglob("*.parquet")) == files

    with Store(line / "store") as store:
        older = {**interrupted_record("CP40-0009", LONG_AGO, LONG_AGO, {}), "verdict": "PASS", "captures": [{}]}
        old = store.finish(store.begin("CP40-0009", started=LONG_AGO), older, [store.captures(store.find()[0])[0]])
        store.finish(store.begin("CP40-0010", started=LATER), {**interrupted_record("CP40-0010", LATER, LATER, {})}, [])
    code, out, _ = records("retain", "--dry-run")
    assert (code, "captures of PASS older than 1 days" in out, "CP40-0009 run 1" in out) == (0, True, True)
    assert (line / "store" / old["captures"][0]["file"]).exists()
    code, out, _ = records("retain", "--person", "K. Muster")
    assert (code, "1 file(s) removed" in out) == (0, True)
    assert set(files) == set(line.rglob("*.parquet"))


def test_an_entry_that_breaks_its_schema_is_named(line, records):
    with Store(line / "store") as store:
        store.add_statement("correction", {"format": 1, "what": "vex", "of": {"serial": "A", "run": 1}})
    code, _, err = records("check")
    assert code == ExitCode.EVIDENCE
    assert "correction, statement" in err
    assert "what: 'vex'" in err
