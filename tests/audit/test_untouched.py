"""An archive that nobody touched is green, to the last bit."""

import pytest

from station.audit.finding import Step


def test_every_step_holds_and_no_number_differs_in_a_bit(audit, archive):
    code, told = audit(archive)
    target, = told["targets"]
    assert code == 0
    assert [finding["code"] for finding in target["findings"]] == ["circumstance.corrected"]
    assert {step["step"]: step["outcome"] for step in target["steps"]} == dict.fromkeys(map(str, Step), "holds")


def test_how_much_was_audited(audit, archive):
    _, told = audit(archive)
    held = {step["step"]: step["held"] for step in told["targets"][0]["steps"]}
    assert held["signature"] == held["page"] == held["inclusion"] == 4     # certificates
    assert held["leaf"] == held["record"] == 6 + 4                          # entries, and certificates
    assert held["head"] == 6 + 4                                            # after each entry, and in each certificate
    assert held["value"] > 4 * 600
    assert held["calibration"] == 4 * 7 * 2                                 # dates, and against the bench file


@pytest.mark.parametrize("words", [(), ("--quick",)])
def test_quick_leaves_out_what_is_computed_again(audit, archive, words):
    _, told = audit(archive, *words)
    outcome = {step["step"]: step["outcome"] for step in told["targets"][0]["steps"]}
    for step in ("page", "value", "indication", "verdict"):
        assert outcome[step] == ("not done" if words else "holds")
