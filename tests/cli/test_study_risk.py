"""`station study risk` and `station limits check --against` on a store of drawn motors."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pytest

from station.exit_code import ExitCode
from station.record.kept_files import keep_file
from station.record.store import Store
from station.sequence.station_file import load_station

_SPEC = importlib.util.spec_from_file_location(
    "drawn_records", Path(__file__).parents[1] / "study" / "drawn_records.py")
drawn = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(drawn)

LIMITS = drawn.limits_of([drawn.limit_line("hall_placement.b", -4.0, 4.0)])
NARROW = drawn.limits_of([drawn.limit_line("hall_placement.b", -0.5, 0.5)])
TIGHT = drawn.limits_of([drawn.limit_line("hall_placement.b", -1.2, 1.2)])


@pytest.fixture
def line(folder):
    """A station with thirty motors in its store, whose values have u = 0.5 degrees."""
    with Store(load_station(folder / "station.toml").store) as store:
        keep_file(store.folder, LIMITS.text.encode())
        for number, value in enumerate(np.random.default_rng(2).normal(0.5, 1.0, 30)):
            measured = {("hall_placement.b", label): (float(value), 0.5) for label in drawn.LABELS}
            drawn.store_record(store, drawn.record_of(f"M{number}", measured, LIMITS))
    return folder


def written(folder, limits):
    path = folder / "draft.toml"
    path.write_text(limits.text, encoding="utf-8")
    return path


def test_risks_by_the_limits_of_the_newest_test(line, command):
    code, out, _ = command("study", "risk", "CP-40", "--station", line / "station.toml")
    assert code == ExitCode.PASS
    assert "hall_placement.b@forward 1000" in out
    assert "CP-40 revision A, guarded rule" in out
    assert "-3.175 … 3.175" in out
    assert "whole motor, values as they belong together in 30 motors (0 left out" in out
    assert "Only 30 motors" in out


def test_risks_by_a_draft(line, command):
    code, out, _ = command("study", "risk", "CP-40", "--station", line / "station.toml", "--limits",
                           written(line, NARROW))
    assert code == ExitCode.PASS
    assert "nothing" in out
    assert "accepted 0" in out


def test_risks_for_programs(line, command):
    place = ("--station", line / "station.toml")
    said = json.loads(command("study", "risk", "CP-40", *place, "--json")[1])
    assert (said["format"], said["motors"], said["limits_sha256"]) == (1, 30, LIMITS.sha256)
    value = said["values"][0]
    assert value["tolerance"] == {"lower": -4.0, "upper": 4.0}
    assert (value["u"], value["capability"]) == (0.5, 4.0)
    assert f"{100 * value['modelled']['consumer']:.2g} %" in command("study", "risk", "CP-40", *place)[1]


def test_a_type_without_tests_has_no_risks(line, command):
    code, _, err = command("study", "risk", "VB-24", "--station", line / "station.toml")
    assert code == ExitCode.WRONG_USE
    assert "VB-24" in err


@pytest.mark.parametrize(("limits", "code", "words"), [
    (LIMITS, ExitCode.PASS, None),
    (TIGHT, ExitCode.PASS, "hall_placement.b at forward 1000: u 0.5 deg gives Cm 1.20, below 1.5"),
    (NARROW, ExitCode.WRONG_USE, "hall_placement.b at reverse 1000: u 0.5 deg gives Cm 0.50, and the rule accepts"),
])
def test_limits_are_held_against_a_store(line, command, limits, code, words):
    path, store = written(line, limits), load_station(line / "station.toml").store
    assert command("limits", "check", path)[0] == ExitCode.PASS
    told, out, err = command("limits", "check", path, "--against", store)
    assert told == code
    assert (words or "holds") in " ".join((out + err).split())
    assert ("warning" in out) == (limits is TIGHT)


def test_no_tests_to_hold_limits_against(line, command):
    path = Path(__file__).parents[2] / "limits" / "VB-24.toml"
    code, _, err = command("limits", "check", path, "--against", load_station(line / "station.toml").store)
    assert code == ExitCode.WRONG_USE
    assert "VB-24" in err


def test_a_draft_too_narrow_for_the_stored_values_is_not_released(line, command):
    draft = line / "draft.toml"
    line_of_it = drawn.limit_line("hall_placement.b", -0.5, 0.5)
    draft.write_text(drawn.limits_of([line_of_it], number="B", released=False).text, encoding="utf-8")
    code, _, err = command("limits", "release", draft, "--by", "A. Tester", "--reason", "tighter", "--study",
                           line / "none.json", "--station", line / "station.toml")
    assert code == ExitCode.WRONG_USE
    assert "Cm 0.50" in " ".join(err.split())
