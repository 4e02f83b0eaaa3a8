"""Comparing a reference motor with its file: value by value, and the reasons for which a bad one fails."""

from math import inf, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.sequence.reference_compare import compare, normalised_error, reasons_against
from station.sequence.reference_file import Expected, Failure, ReferenceMotor

LABELS = ["forward 1000", "reverse 1000"]


def motor(*expected, failure=None):
    return ReferenceMotor("CP40-R001", "CP-40", tuple(expected), failure, "CP40-R001.toml", "0" * 64)


def wanted(value=10.0, u=0.01, tolerance=0.05, name="back_emf_constant_rms.ab", label=None):
    return Expected(name, name, label, "V/krpm", value, u, tolerance)


def record(*measured, verdict="PASS", failed=(), findings=()):
    return {"verdict": verdict, "judged": [{"name": name, "result": "FAIL"} for name in failed],
            "findings": [{"code": code, "text": ""} for code in findings],
            "measurements": [{"name": name, "label": label, "value": value, "u": u, "dof": None}
                             for name, label, value, u in measured]}


def one(value, u, expected=None):
    """The comparison of one value in one capture."""
    compared, = compare(motor(expected or wanted()), record(("back_emf_constant_rms.ab", "a", value, u)), ["a"])
    return compared


@given(st.floats(-100, 100), st.floats(0, 10), st.floats(-100, 100), st.floats(0, 10))
def test_normalised_error_is_symmetric_and_shrinks_with_uncertainty(value, u, expected, u_expected):
    error = normalised_error(value, u, expected, u_expected)
    assert error == normalised_error(expected, u_expected, value, u)
    assert error >= 0
    assert normalised_error(value, u + 1, expected, u_expected) <= error
    assert (error == 0) == (value == expected)


def test_normalised_error_by_hand():
    assert normalised_error(10.5, 0.3, 10.0, 0.4) == pytest.approx(1.0)
    assert normalised_error(24.0, 0.0, 24.0, 0.0) == 0.0
    assert normalised_error(23.0, 0.0, 24.0, 0.0) == inf


@pytest.mark.parametrize(("value", "u", "result"), [
    (10.0, 0.01, "GOOD"), (10.04, 0.03, "GOOD"), (10.06, 0.03, "BAD"), (9.94, 0.03, "BAD"),
    (10.04, 0.001, "BAD"),                    # within tolerance, yet further off than both claim
    (None, None, "ABSENT"), (None, 0.01, "ABSENT"), (10.0, None, "BAD"), (10.0, -1.0, "BAD"),
])
def test_one_value(value, u, result):
    assert one(value, u).result == result


@given(st.floats(9, 11), st.floats(0, 0.1))
def test_good_means_within_tolerance_and_within_what_both_claim(value, u):
    compared = one(value, u)
    both = 2 * sqrt(u * u + 0.01 * 0.01)
    assert (compared.result == "GOOD") == (abs(value - 10) <= 0.05 and abs(value - 10) / both <= 1)


def test_a_value_without_a_label_is_expected_in_every_capture():
    measured = record(("back_emf_constant_rms.ab", "forward 1000", 10.0, 0.01))
    compared = compare(motor(wanted(), wanted(label="forward 1000")), measured, LABELS)
    assert [(c.label, c.result) for c in compared] == [
        ("forward 1000", "GOOD"), ("reverse 1000", "ABSENT"), ("forward 1000", "GOOD")]


@pytest.mark.parametrize("verdict", ["FAIL", "NO RESULT"])
def test_a_good_motor_must_pass(verdict):
    measured = record(*(("back_emf_constant_rms.ab", label, 10.0, 0.01) for label in LABELS))
    assert reasons_against(motor(wanted()), measured, compare(motor(wanted()), measured, LABELS)) == []
    assert verdict in reasons_against(motor(wanted()), measured | {"verdict": verdict}, [])[0]


def test_each_value_that_is_off_is_told_with_its_numbers():
    measured = record(("back_emf_constant_rms.ab", "forward 1000", 10.2, 0.01))
    off, absent = reasons_against(motor(wanted()), measured, compare(motor(wanted()), measured, LABELS))
    assert "10.2" in off
    assert "10 ± 0.05" in off
    assert "normalised error 7.1" in off
    assert "absent" in absent


BAD = Failure("hall_sensor_displaced", ("hall_placement.c", "hall_sector_max"), ("hall_duty",))
RIGHT = {"verdict": "FAIL", "failed": ["hall_placement.c", "hall_sector_max"], "findings": ["hall_sensor_displaced"]}


@pytest.mark.parametrize(("change", "words"), [
    ({}, None),
    ({"failed": [*RIGHT["failed"], "hall_duty.a"]}, None),
    ({"findings": ["weak_magnets", "hall_sensor_displaced"]}, None),
    ({"verdict": "PASS", "failed": [], "findings": []}, "verdict PASS for a known-bad motor"),
    ({"verdict": "NO RESULT"}, "verdict NO RESULT"),
    ({"failed": ["hall_placement.c"]}, "hall_sector_max did not fail"),
    ({"failed": [*RIGHT["failed"], "thd.ab"]}, "thd.ab failed"),
    ({"findings": ["weak_magnets"]}, "finding hall_sensor_displaced missing, found weak_magnets"),
    ({"findings": []}, "found none"),
])
def test_a_bad_motor_must_fail_for_its_own_reason(change, words):
    reasons = reasons_against(motor(failure=BAD), record(**(RIGHT | change)), [])
    assert (reasons == []) if words is None else any(words in reason for reason in reasons)


def test_what_is_stored_is_plain():
    entry = one(23.0, 0.0, wanted(24.0, 0.0, 0.0)).as_entry()
    assert (entry["normalised_error"], entry["result"], entry["expected"]) == (None, "BAD", 24.0)
