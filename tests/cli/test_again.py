"""`station test --again`: who may test a motor beyond its runs, and that everybody sees it."""

import json

import pytest

from station.exit_code import ExitCode

LEAVE = ("--again", "--person", "K. Muster", "--reason", "new fixture")


def test_a_third_run_needs_a_person_and_a_reason(folder, command):
    station = folder / "station.toml"
    assert command("test", "CP60-0003", "CP60-0003", "--station", station)[0] == ExitCode.FAIL
    code, out, err = command("test", "CP60-0003", "--station", station)
    assert (code, "run 1 FAIL, run 2 FAIL" in err) == (ExitCode.NOT_ALLOWED, True)
    assert "press START" not in out
    assert command("test", "CP60-0003", "--station", station, *LEAVE)[0] == ExitCode.FAIL
    record = json.loads(command("records", "show", "CP60-0003", "--station", station, "--json")[1])
    assert (record["run"], record["further_run"]) == (3, {"person": "K. Muster", "reason": "new fixture"})


@pytest.mark.parametrize("words", [
    LEAVE[:1], LEAVE[:3], LEAVE[1:], ("--again", "--person", " ", "--reason", "new fixture"), LEAVE[3:]])
def test_half_a_leave_is_none(folder, command, words):
    code, _, err = command("test", "CP60-0003", "--station", folder / "station.toml", *words)
    assert (code, "--again, --person and --reason" in err) == (ExitCode.WRONG_USE, True)
    assert not (folder / "store").exists()
