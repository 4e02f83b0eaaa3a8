"""A run on the embedded bench: every way out ends in a record and a safe bench."""

import hashlib
import json

import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.errors import BenchError, BenchNotFitError, FileContractError, StoppedError
from station.sequence.progress import unwatched
from station.sequence.station_file import load_station


@pytest.fixture
def folder(tmp_path):
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    return tmp_path / "line"


def _edit(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def _open(folder):
    return open_workplace(load_station(folder / "station.toml"), "tester")


def _outcomes(record):
    return {step["name"]: step["outcome"] for step in record["steps"]}


def _is_safe(rig):
    t = rig.now() + 60.0  # long enough for a coasting shaft to come to rest
    return abs(rig.shaft.speed_rpm(t)) < 1 and rig.insulation_voltage() < 25 and rig.sensor_supply_current() == 0


def test_guard_opened_while_the_shaft_turns(folder):
    with _open(folder) as place:
        rig, said = place.attendant.rig, []

        def open_at_speed(notice):
            said.append(notice.kind)
            if notice.kind == "speed":
                rig.open_guard()

        outcome = place.test("CP40-0001", open_at_speed)
        assert said[-1] == "rest"       # hands off: the shaft has not stopped yet
        assert isinstance(outcome.trouble, StoppedError)
        assert outcome.record["verdict"] == "NO RESULT"
        assert "guard" in outcome.record["reason"]
        assert outcome.record["cause"] == {"code": "guard_opened", "at": "guard"}
        assert _outcomes(outcome.record)["Back-drive"] == "no result"
        assert _is_safe(rig)
        assert place.store.unfinished() == []
        kinds = []
        assert place.test("CP40-0001", lambda notice: kinds.append(notice.kind)).record["run"] == 2  # the line goes on
        assert (kinds[-1], kinds.count("rest")) == ("rest", 1)      # told before the shaft rests, then the verdict


def test_a_step_beyond_its_deadline_is_no_result(folder):
    _edit(folder / "sequences" / "standard.toml", "deadline_s = 60.0", "deadline_s = 0.05")
    with _open(folder) as place:
        outcome = place.test("CP40-0001", unwatched)
        assert isinstance(outcome.trouble, BenchError)
        assert outcome.record["verdict"] == "NO RESULT"
        assert outcome.record["cause"]["code"] == "too_slow"
        assert _is_safe(place.attendant.rig)


def test_a_leaking_motor_is_not_turned(folder):
    turned = []
    with _open(folder) as place:
        outcome = place.test("CP60-0003", lambda notice: turned.append(notice) if notice.kind == "speed" else None)
    assert outcome.trouble is None
    assert outcome.record["verdict"] == "FAIL"
    assert _outcomes(outcome.record)["Back-drive"] == "not run"
    assert not turned


def test_a_speed_above_the_drive_is_refused_before_anything_moves(folder):
    _edit(folder / "sequences" / "standard.toml", "[1000.0, 2000.0]", "[1000.0, 90000.0]")
    _edit(folder / "limits" / "CP-40.toml", "max_speed_rpm = 5000.0", "max_speed_rpm = 90000.0")
    with _open(folder) as place:
        outcome = place.test("CP40-0001", unwatched)
        assert isinstance(outcome.trouble, BenchNotFitError)
        assert outcome.record["verdict"] == "NO RESULT"
        assert set(_outcomes(outcome.record).values()) == {"not run"}


def test_a_speed_above_the_motor_type_is_refused_before_a_run_begins(folder):
    _edit(folder / "limits" / "CP-40.toml", "max_speed_rpm = 5000.0", "max_speed_rpm = 1500.0")
    with _open(folder) as place:
        with pytest.raises(FileContractError, match="max_speed_rpm"):
            place.test("CP40-0001", unwatched)
        assert not place.attendant.rig.armed
        assert place.store.show("CP40-0001") == place.store.unfinished() == []


def test_the_transcript_of_a_run_is_kept_with_its_record(folder):
    with _open(folder) as place:
        place.bench.thermometer.winding()      # belongs to no run
        record = place.test("CP40-0001", unwatched).record
        entries = [json.loads(line) for line in place.store.transcript(record).splitlines()]
        captures = place.store.captures(record)
    assert record["transcript"]["lines"] == len(entries)
    assert {entry["role"] for entry in entries} >= {"drive", "digitizer", "ohmmeter", "supply", "guard"}
    times = [entry["monotonic_s"] for entry in entries]
    assert times == sorted(times)
    assert entries[0]["utc"] >= record["started"]
    assert entries[-1]["utc"] <= record["ended"]
    # The blocks are those that were stored: the evidence and the values hang together.
    heard = {entry["sha256"] for entry in entries if entry["role"] == "digitizer" and "sha256" in entry}
    kept = {hashlib.sha256(codes.tobytes()).hexdigest() for one in captures for codes in one.codes.values()}
    assert kept
    assert kept <= heard
    spoken = [entry["text"] for entry in entries if entry["role"] == "drive" and entry["direction"] == "to"]
    assert spoken.index("OUTP ON") < len(spoken) - 1 - spoken[::-1].index("OUTP OFF")
