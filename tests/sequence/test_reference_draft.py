"""A drafted reference file: it holds its contract, and the very tests it was made of agree with it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import UsageError
from station.sequence.reference_compare import compare, reasons_against
from station.sequence.reference_draft import draft_toml
from station.sequence.reference_file import parse_reference
from station.toml_file import parse_toml

LABEL = "forward 1000"


def record(value, verdict="PASS", failed=(), codes=(), u=0.01):
    rows = [{"name": "back_emf_constant_rms.ab", "label": LABEL, "unit": "V/krpm", "value": value, "u": u, "dof": 50.0,
             "lower": 9.6, "upper": 10.4, "result": verdict},
            {"name": "hall_missing", "label": LABEL, "unit": "1", "value": 0.0, "u": 0.0, "dof": None,
             "lower": None, "upper": 0.0, "result": "PASS"},
            {"name": "insulation_resistance", "label": "", "unit": "Mohm", "value": None, "u": None, "dof": None,
             "result": "NO RESULT"}]
    rows += [{"name": name, "label": "", "unit": "ohm", "value": 1.0, "u": 0.1, "dof": None, "result": "FAIL"}
             for name in failed]
    return {"verdict": verdict, "started": "2026-11-25T10:00:00.000Z", "motor_type": {"name": "CP-40"},
            "station": {"id": "EOL-1"}, "judged": rows, "measurements": rows,
            "findings": [{"code": code} for code in codes]}


def drafted(records):
    return parse_reference(parse_toml(draft_toml("R1", records, "M. Odera").encode(), "R1.toml"))


@given(st.lists(st.floats(9.99, 10.01), min_size=3, max_size=8))
def test_the_tests_it_was_made_of_agree_with_it(values):
    records = [record(value) for value in values]
    motor = drafted(records)
    assert [(e.name, e.label) for e in motor.expected] == [
        ("back_emf_constant_rms.ab", LABEL), ("hall_missing", LABEL)]      # not what was absent
    for of in records:
        assert reasons_against(motor, of, compare(motor, of, [LABEL])) == []
    assert reasons_against(motor, record(10.2), compare(motor, record(10.2), [LABEL]))
    assert motor.expected[0].u >= 0.01


def test_a_tolerance_covers_what_turns_no_verdict_and_what_one_test_claims():
    sharp, missing = drafted([record(10.0, u=1e-6)] * 3).expected
    assert sharp.tolerance == pytest.approx(0.02 * 0.4)
    assert missing.tolerance == 0.0                                        # a count is exact
    assert drafted([record(10.0, u=0.1)] * 3).expected[0].tolerance == pytest.approx(0.1, rel=0.05)   # U / 2


def test_tests_that_failed_make_a_known_bad_motor():
    both = {"verdict": "FAIL", "codes": ["open_phase"]}
    motor = drafted([record(10.0, failed=["winding_resistance.ab"], **both),
                     record(10.0, failed=["winding_resistance.ab", "winding_resistance.bc"], **both),
                     record(10.0, failed=["winding_resistance.ab"], **both)])
    assert motor.kind == "bad"
    assert motor.failure.finding == "open_phase"
    assert set(motor.failure.must_fail) == {"winding_resistance.ab", "back_emf_constant_rms.ab"}
    assert motor.failure.may_fail == ("winding_resistance.bc",)


@pytest.mark.parametrize("records", [
    [], [record(10.0)] * 2, [record(10.0), record(10.0), record(10.0, "FAIL")],
    [record(10.0, "NO RESULT")] * 5, [record(10.0, "FAIL", codes=["open_phase"]), *[record(10.0, "FAIL")] * 3],
])
def test_what_makes_no_reference_motor(records):
    with pytest.raises(UsageError):
        draft_toml("R1", records, "M. Odera")
