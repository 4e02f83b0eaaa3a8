"""The schemas take what stations write, and name every fault of what they do not."""

import copy
import json

import pytest
from jsonschema import Draft202012Validator

from station.errors import EvidenceError
from station.record.record import interrupted_record
from station.record.record_schema import SCHEMAS, _schema, check_record, faults_of

AT = "2026-11-25T10:00:00.000Z"
ROW = {"key": "line_sum", "name": "line_sum", "label": "forward 1500", "unit": "%", "value": 0.01, "u": 0.002,
       "dof": None, "lower": None, "upper": 0.1, "acceptance_lower": None, "acceptance_upper": 0.0967,
       "result": "PASS", "zone": "within limits", "margin": 43.0}
RECORD = json.loads(json.dumps({**interrupted_record("CP40-0001", AT, AT, {}), "run": 1, "judged": [ROW],
                                "verdict": "PASS", "reason": ""}))


@pytest.mark.parametrize("kind", SCHEMAS)
def test_each_schema_is_one(kind):
    """Source: JSON Schema draft 2020-12, the meta-schema that `jsonschema` ships."""
    Draft202012Validator.check_schema(_schema(SCHEMAS[kind]))


def test_a_sound_record_and_the_record_of_an_interrupted_run_are_taken():
    check_record(RECORD)
    check_record({**interrupted_record("CP40-0001", AT, AT, {}), "run": 3})


def changed(path, value):
    record = copy.deepcopy(RECORD)
    at = record
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return record


@pytest.mark.parametrize(("path", "value"), [
    (["verdict"], "GOOD"), (["run"], 0), (["run"], "1"), (["format"], 2), (["started"], "yesterday"),
    (["started"], "2026-11-25T10:00:00Z"), (["judged", 0, "value"], "0.01"), (["judged", 0, "colour"], "red"),
    (["judged", 0, "result"], "FAIL"), (["judged"], []), (["limit_file", "sha256"], "3C" * 32), (["extra"], 1),
    (["conditions", "sensor_supply_V"], "5"), (["clock"], {"boot_id": ""}), (["motor_type", "winding"], "loose"),
])
def test_each_fault_is_named_by_its_place(path, value):
    place = ".".join(f"[{key}]" if isinstance(key, int) else key for key in path).replace(".[", "[")
    parents = {place, place.rpartition(".")[0] or "(top)"}      # of a key too many its parent
    told = faults_of("record", changed(path, value))
    assert [each.partition(": ")[0] in parents for each in told] == [True] * len(told) != []


@pytest.mark.parametrize("key", sorted(set(RECORD) - {"verdict"}))
def test_each_key_must_be_there(key):
    told = faults_of("record", {name: part for name, part in RECORD.items() if name != key})
    assert len(told) == 1
    assert repr(key) in told[0]


def test_every_fault_comes_at_once():
    with pytest.raises(EvidenceError) as caught:
        check_record({**RECORD, "run": 0, "verdict": "GOOD", "operator": None})
    assert all(key in str(caught.value) for key in ("run: 0", "verdict: 'GOOD'", "operator: None"))
