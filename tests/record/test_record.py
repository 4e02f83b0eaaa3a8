"""Records have one byte sequence, and an altered one is never shown as genuine."""

import json

import pytest

from station.errors import EvidenceError, StationError
from station.record.record import canonical, interrupted_record, read_body, sha256_of


def test_canonical_bytes_of_published_numbers():
    """Source: RFC 8785, 3.2.2, the example's numbers and literals."""
    given = {"numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
             "literals": [None, True, False]}
    assert canonical(given) == (b'{"literals":[null,true,false],'
                                b'"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27]}')


def test_the_order_of_keys_does_not_matter():
    assert canonical({"b": 1, "a": (1, 2)}) == canonical({"a": [1, 2], "b": 1})


@pytest.mark.parametrize("thing", [float("nan"), float("inf"), object(), {1, 2}, 2**60])
def test_what_has_no_place_in_json_is_refused(thing):
    with pytest.raises(StationError, match="cannot be stored"):
        canonical({"value": thing})


@pytest.mark.parametrize("number", [11640247134995850.0, -(2.0**53), 2.0**60, 1e16, 999999999999999900000.0, 1e21])
def test_large_numbers_keep_their_bytes_when_they_are_read_back(number):
    """They come as degrees of freedom, where hardly anything is uncertain; RFC 8785 writes them as whole numbers."""
    body = canonical({"dof": number, "rows": [{"dof": number}]})
    assert float(json.loads(body)["dof"]) == number
    assert canonical(json.loads(body)) == body


def row_of(record, **changed):
    body = canonical(record)
    row = {"serial": record["serial"], "run": record["run"], "motor_type": record["motor_type"]["name"],
           "verdict": record["verdict"], "started": record["started"], "sha256": sha256_of(body), "body": body,
           **changed}
    return tuple(row.values())


RECORD = {"serial": "CP40-0001", "run": 1, "motor_type": {"name": "CP-40"}, "verdict": "FAIL",
          "started": "2026-11-25T10:00:00.000Z"}


def test_a_genuine_row_is_read():
    assert read_body(row_of(RECORD)) == RECORD


@pytest.mark.parametrize("changed", [
    {"body": canonical({**RECORD, "verdict": "PASS"})}, {"verdict": "PASS"}, {"run": 2}, {"serial": "CP40-0002"},
    {"motor_type": "VB-24"}, {"started": "2026-11-25T10:00:00.001Z"}])
def test_an_altered_row_is_told(changed):
    with pytest.raises(EvidenceError):
        read_body(row_of(RECORD, **changed))


def test_the_record_of_an_interrupted_run():
    record = interrupted_record("CP40-0001", "2026-11-25T10:00:00.000Z", "2026-11-25T11:00:00.000Z",
                                {"operator": "K", "verdict": "PASS"})
    assert (record["verdict"], record["reason"], record["operator"]) == ("NO RESULT", "interrupted", "K")
    assert json.loads(canonical(record)) == record
