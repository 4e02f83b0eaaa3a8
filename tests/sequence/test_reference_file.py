"""Reference files: the shipped ones hold, and every fault of every file is told at once."""

from pathlib import Path

import pytest

from station.errors import FileContractError
from station.sequence.reference_file import load_references, parse_reference
from station.toml_file import parse_toml

SHIPPED = Path(__file__).parents[2] / "limits" / "references"
GOOD = """
format = 1
[motor]
serial = "R1"
motor_type = "CP-40"
kind = "good"
[origin]
established_by = "M. Odera"
established_on = 2026-11-25
note = "mean of 25 tests"
[expected]
"thd.ab@forward 1000" = { unit = "%", value = 1.0, u = 0.1, tolerance = 0.2 }
"winding_resistance.ab" = { unit = "ohm", value = 0.57, u = 0.001, tolerance = 0.004 }
"hall_duty.a" = { unit = "%", value = 50.0, u = 0.1, tolerance = 0.2 }
"""
BAD = GOOD.replace('"good"', '"bad"') + """
[failure]
finding = "weak_magnets"
must_fail = ["back_emf_constant_peak"]
may_fail = ["flux_linkage.ab"]
"""


def parse(text, name="R1.toml"):
    return parse_reference(parse_toml(text.encode(), name))


def faults(text):
    with pytest.raises(FileContractError) as caught:
        parse(text)
    return {fault.key for fault in caught.value.faults}


def test_shipped_files_have_a_good_and_a_bad_motor_of_each_type():
    motors = load_references(SHIPPED)
    assert [(m.motor_type, m.kind) for m in motors] == [
        (name, kind) for name in ("CP-40", "CP-60D", "VB-24") for kind in ("good", "bad")]
    assert [m.kind for m in load_references(SHIPPED, "VB-24")] == ["good", "bad"]
    assert load_references(SHIPPED / "absent") == ()


def test_what_a_file_says():
    motor = parse(BAD)
    assert (motor.serial, motor.kind, motor.failure.must_fail) == ("R1", "bad", ("back_emf_constant_peak",))
    assert [(e.name, e.label) for e in motor.expected] == [
        ("thd.ab", "forward 1000"), ("winding_resistance.ab", ""), ("hall_duty.a", None)]


@pytest.mark.parametrize(("old", "new", "key"), [
    ('serial = "R1"', 'serial = "R2"', "motor.serial"),
    ('kind = "good"', 'kind = "fair"', "motor.kind"),
    ('kind = "good"', 'kind = "bad"', "failure"),
    ('note = "mean of 25 tests"', "", "origin.note"),
    ('"thd.ab@forward 1000"', '"thd@forward 1000"', "expected.thd@forward 1000"),
    ('"thd.ab@forward 1000"', '"thd.ab@sideways"', "expected.thd.ab@sideways"),
    ('"winding_resistance.ab"', '"winding_resistance.ab@forward 1000"',
     "expected.winding_resistance.ab@forward 1000"),
    ('"hall_duty.a"', '"colour"', "expected.colour"),
    ('unit = "ohm"', 'unit = "kohm"', "expected.winding_resistance.ab.unit"),
    ("tolerance = 0.004", "tolerance = -0.004", "expected.winding_resistance.ab.tolerance"),
    ("value = 50.0", "value = nan", "expected.hall_duty.a.value"),
])
def test_each_fault_is_told(old, new, key):
    assert old in GOOD
    assert key in faults(GOOD.replace(old, new))


def test_all_faults_of_a_file_are_told_at_once():
    assert faults(BAD.replace('unit = "%"', 'unit = "V"').replace('["back_emf_constant_peak"]', '["colour"]').replace(
        "flux_linkage.ab", "flux")) == {"expected.thd.ab@forward 1000.unit", "expected.hall_duty.a.unit",
                                        "failure.must_fail", "failure.may_fail"}
    assert faults(GOOD.partition("[expected]")[0]) == {"expected"}


def test_all_faults_of_all_files_are_told_at_once(tmp_path):
    (tmp_path / "R2.toml").write_text(GOOD)
    (tmp_path / "R3.toml").write_text(BAD.replace("R1", "R3").replace('finding = "weak_magnets"', "finding = 3"))
    with pytest.raises(FileContractError) as caught:
        load_references(tmp_path)
    assert {(Path(f.file).name, f.key) for f in caught.value.faults} == {
        ("R2.toml", "motor.serial"), ("R3.toml", "failure.finding")}
