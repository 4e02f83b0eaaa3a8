"""One check as a whole: what its result is, whatever the runs come to."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from station.errors import FileContractError, StoppedError, UsageError
from station.sequence.reference_check import check_motors, require_both_kinds, require_captures, require_mended
from station.sequence.reference_file import Expected, Failure, ReferenceMotor

GOOD = ReferenceMotor("R1", "CP-40", (Expected("insulation_resistance", "insulation_resistance", "", "Mohm", 3000.0,
                                               10.0, 50.0),), None, "R1.toml", "1" * 64)
BAD = ReferenceMotor("R2", "CP-40", (), Failure("weak_magnets", ("thd",), ()), "R2.toml", "2" * 64)
STOPPED = StoppedError("stopped", where="guard", expected="closed", got="open", remedy="Close it.")


def ran(value=3000.0, verdict="PASS", failed=(), findings=(), trouble=None, started="2026-11-25T10:00:00.000Z"):
    record = {"started": started, "ended": started, "operator": "tester", "station": {"id": "EOL-1", "place": ""},
              "bench": {"sha256": "b" * 64}, "sequence": {"sha256": "s" * 64}, "software": {"station": "0.1.0"},
              "run": 1, "verdict": verdict, "judged": [{"name": name, "result": "FAIL"} for name in failed],
              "findings": [{"code": code} for code in findings],
              "measurements": [{"name": "insulation_resistance", "label": "", "value": value, "u": 20.0, "dof": None}]}
    return SimpleNamespace(record=record, trouble=trouble)


def failing(**change):
    return ran(**({"verdict": "FAIL", "failed": ["thd.ab"], "findings": ["weak_magnets"]} | change))


def checked(good, bad):
    outcomes = {"R1": good, "R2": bad}
    return check_motors([GOOD, BAD], lambda motor: outcomes[motor.serial], ["forward 1000"])


def test_both_as_known_is_good():
    entry, trouble = checked(ran(), failing(started="2026-11-25T10:01:00.000Z"))
    assert (entry["result"], entry["reasons"], trouble) == ("GOOD", [], None)
    assert (entry["started"], entry["ended"]) == ("2026-11-25T10:00:00.000Z", "2026-11-25T10:01:00.000Z")
    assert [motor["serial"] for motor in entry["motors"]] == ["R1", "R2"]
    assert entry["motors"][0]["compared"][0]["value"] == 3000.0


@pytest.mark.parametrize(("good", "bad", "reason"), [
    (ran(3060.0), failing(), "R1: insulation_resistance"), (ran(None), failing(), "R1: insulation_resistance absent"),
    (ran(verdict="NO RESULT"), failing(), "R1: verdict NO RESULT"), (ran(), ran(), "R2: verdict PASS"),
    (ran(), failing(findings=["open_phase"]), "R2: finding weak_magnets"),
])
def test_anything_else_is_bad(good, bad, reason):
    entry, _ = checked(good, bad)
    assert entry["result"] == "BAD"
    assert entry["reasons"][0].startswith(reason)


def test_trouble_is_no_result_and_ends_the_check():
    entry, trouble = checked(ran(verdict="NO RESULT", trouble=STOPPED), failing())
    assert (entry["result"], trouble, len(entry["motors"])) == ("NO RESULT", STOPPED, 1)
    assert entry["motors"][0]["compared"] == []


def test_trouble_with_the_second_does_not_hide_what_the_first_said():
    assert checked(ran(3060.0), failing(trouble=STOPPED))[0]["result"] == "BAD"
    assert checked(ran(), failing(trouble=STOPPED))[0]["result"] == "NO RESULT"
    assert checked(ran(), failing(trouble=KeyboardInterrupt()))[0]["result"] == "NO RESULT"


@pytest.mark.parametrize(("motors", "missing"), [([GOOD], {"CP-40, bad"}), ([BAD], {"CP-40, good"}),
                                                 ([], {"CP-40, good", "CP-40, bad"})])
def test_both_kinds_are_needed(motors, missing):
    with pytest.raises(FileContractError) as caught:
        require_both_kinds(motors, "CP-40", "references")
    assert {fault.key for fault in caught.value.faults} == missing


def test_a_capture_that_the_sequence_does_not_take_is_a_fault_of_the_file():
    motor = replace(GOOD, expected=(Expected("thd.ab@forward 900", "thd.ab", "forward 900", "%", 1.0, 0.1, 0.2),))
    require_captures([motor, BAD], ["forward 900", "reverse 900"])
    require_captures([GOOD], [])
    with pytest.raises(FileContractError, match="forward 900"):
        require_captures([motor], ["forward 1000"])


@pytest.mark.parametrize(("results", "asked"), [
    ([], False), (["GOOD"], False), (["BAD"], True), (["GOOD", "BAD", "NO RESULT"], True), (["BAD", "GOOD"], False),
])
def test_after_a_bad_check_somebody_says_what_was_done(results, asked):
    checks = [{"check": n, "result": result, "reasons": ["R1: too low"]} for n, result in enumerate(results)]
    require_mended(checks, "probe exchanged")
    for nothing in ("", "  "):
        if asked:
            with pytest.raises(UsageError, match="too low"):
                require_mended(checks, nothing)
        else:
            require_mended(checks, nothing)
