"""What the record says of the decision rules is what the limit file said, and the schema of records takes it."""

import json
from pathlib import Path

import pytest

from station.clock import system_clock
from station.judgement.limit_file import parse_limits
from station.record.record import canonical
from station.record.record_schema import faults_of
from station.sequence.record_of_run import Heading, known_at_start
from station.sequence_file import parse_sequence
from station.toml_file import parse_toml, read_toml

ROOT = Path(__file__).parents[2]
HEADING = Heading("L2-EOL1", "Varnholt Works", "op-17", "bench.toml", "51" * 32, simulated=True, pace=1.0,
                  instruments=())
RULES = {"simple": {"guard_factor": 1.65}, "guarded": {"guard_factor": 1.65}, "false_accept": {"guard_factor": 1.65},
         "conformance": {"guard_factor": 1.65, "least_probability": 0.95}}


def decision(old, new):
    text = (ROOT / "limits" / "CP-40.toml").read_text(encoding="utf-8")
    assert old in text
    limits = parse_limits(parse_toml(text.replace(old, new).encode(), "CP-40.toml"))
    sequence = parse_sequence(read_toml(ROOT / "sequences" / "standard.toml"))
    known = known_at_start(HEADING, limits, sequence, system_clock().now(), "")
    return json.loads(canonical(known))["decision"]


@pytest.mark.parametrize("rule", RULES)
def test_the_rule_of_the_file(rule):
    told = decision('rule = "guarded"\nguard_factor = 1.65', f'rule = "{rule}"')
    assert told.pop("sentence").startswith("A value conforms when")
    assert told == {"rule": rule, **RULES[rule]}


@pytest.mark.parametrize("rule", RULES)
def test_the_rule_of_a_limit(rule):
    told = decision('thd = { unit = "%"', f'thd = {{ unit = "%", rule = "{rule}", u_max = 0.5')
    assert told["exceptions"] == [{"key": "thd", "rule": rule, **RULES[rule], "u_max": 0.5}]
    assert "By exception: thd: " in told["sentence"]


def test_the_schema_takes_rules_and_names_strange_ones():
    told = decision('thd = { unit = "%"', 'thd = { unit = "%", rule = "conformance", u_max = 0.5')
    assert not [fault for fault in faults_of("record", {"decision": told}) if fault.startswith("decision")]
    told["exceptions"][0]["rule"] = "strict"
    fault, = (fault for fault in faults_of("record", {"decision": told}) if fault.startswith("decision"))
    assert fault.startswith("decision.exceptions[0].rule")
