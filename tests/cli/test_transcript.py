"""`station records transcript`: what was said in a stored run, all of it or one role's, and wrong questions."""

import json

from station.cli.records import _spoken
from station.exit_code import ExitCode
from station.record.store import Store
from station.sequence.station_file import load_station


def test_transcript_of_a_stored_test(folder, command):
    station = folder / "station.toml"
    assert command("test", "CP60-0003", "--station", station)[0] == ExitCode.FAIL
    record = json.loads(command("records", "show", "CP60-0003", "--station", station, "--json")[1])
    code, out, _ = command("records", "transcript", "CP60-0003", "--station", station)
    assert code == 0
    assert len(out.splitlines()) == record["transcript"]["lines"]
    code, insulation, _ = command("records", "transcript", "CP60-0003", "--station", station, "--role", "insulation")
    assert code == 0
    assert all(" insulation " in line for line in insulation.splitlines())
    assert " insulation > MEAS:RES?" in insulation
    assert 0 < insulation.count("\n") < out.count("\n")


def test_interrupted_run_has_none_and_that_is_told(folder, command):
    station = folder / "station.toml"
    with Store(load_station(station).store) as store:
        store.begin("CP40-0001", started="2026-11-25T10:00:00.000Z", heading={"motor_type": {"name": "CP-40"}})
        store.close_unfinished(ended="2026-11-25T10:00:30.000Z")
    code, _, err = command("records", "transcript", "CP40-0001", "--station", station)
    assert (code, "no transcript" in err) == (ExitCode.WRONG_USE, True)


def test_lines():
    said = {"utc": "T", "role": "drive", "direction": "to", "text": "OUTP ON"}
    assert _spoken(said) == "T drive > OUTP ON"
    assert _spoken({"utc": "T", "role": "digitizer", "direction": "from", "bytes": 4, "sha256": "ab"}) == (
        "T digitizer <  [4 bytes, SHA-256 ab]")
    assert _spoken({"left_out": 7}) == "... 7 exchanges left out ..."
