"""The sentences about decision rules say what is done, and leave out no limit that is judged otherwise."""

from dataclasses import replace
from pathlib import Path

import pytest

from station.judgement.decision_rule import Decision
from station.judgement.limit_file import parse_limits
from station.judgement.rule_words import decision_sentence
from station.toml_file import read_toml

LIMITS = parse_limits(read_toml(Path(__file__).parents[2] / "limits" / "CP-40.toml"))
OTHERS = {
    "simple": Decision("simple"), "guarded": Decision("guarded", 2.0), "false_accept": Decision("false_accept"),
    "conformance": Decision("conformance", least_probability=0.99)}
WORDS = {"simple": "not deducted", "guarded": "by 2 standard uncertainties",
         "false_accept": "at most 2 % of the motors", "conformance": "at least 99 %"}
SHORT = {"simple": "uncertainty not deducted.", "guarded": "drawn in by 2 u.",
         "false_accept": "drawn in for 2 % false accepts.", "conformance": "99 % probability of conformance."}


@pytest.mark.parametrize("rule", OTHERS)
def test_the_rule_of_the_file(rule):
    sentence = decision_sentence(replace(LIMITS, decision=OTHERS[rule]))
    assert WORDS[rule] in sentence
    assert "exception" not in sentence


@pytest.mark.parametrize("rule", OTHERS)
def test_a_limit_of_its_own_rule_is_named(rule):
    limits = tuple(replace(limit, decision=OTHERS[rule]) if limit.name in ("thd", "hall_duty") else limit
                   for limit in LIMITS.limits)
    common, exceptions = decision_sentence(replace(LIMITS, limits=limits)).split("By exception: ")
    assert "1.65 standard uncertainties" in common
    assert exceptions == f"thd, hall_duty: {SHORT[rule]}"


def test_the_largest_uncertainty_is_told():
    limits = tuple(replace(limit, decision=replace(LIMITS.decision, u_max=0.3)) if limit.name == "hall_duty" else limit
                   for limit in LIMITS.limits)
    assert decision_sentence(replace(LIMITS, limits=limits)).endswith("hall_duty: no result above u = 0.3 %.")
