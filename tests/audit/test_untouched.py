"""An archive that nobody touched is green, to the last bit."""

import pytest

from station.audit.finding import Step
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.certificate.issue import issue_certificate
from station.certificate.signing import Signer
from station.clock import stamp, system_clock
from station.record.log_key import LogKey
from station.record.store import Store


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


def test_an_interrupted_run_is_no_finding(archive, audit):
    key = LogKey.load(archive / "keys")
    with Store(archive / "store", log_key=key, origin=key.name) as store:
        store.begin("CP40-0003", started=stamp(system_clock().utc()))
        store.close_unfinished(ended=stamp(system_clock().utc()))
    code, told = audit("CP40-0003", "--station", archive / "station.toml")
    assert code == 0
    held = {step["step"]: step["held"] for step in told["targets"][0]["steps"]}
    assert (held["leaf"], held["verdict"]) == (3, 0)    # with the correction and the check; no limit file was known


def test_a_station_at_work_meanwhile_is_no_finding(archive):
    """A record, its head and its certificate come in while the audit is under way."""
    key, signer = LogKey.load(archive / "keys"), Signer.load(archive / "keys")

    def test_one_more(done):
        if done > 1:
            return
        with Store(archive / "store", log_key=key, origin=key.name) as store:
            record = store.show("CP40-0001")[0]
            run_id = store.begin("CP40-0001", started=record["ended"])
            kept = {name: part for name, part in record.items() if name not in ("transcript", "attempts")}
            issue_certificate(store, store.finish(run_id, kept | {"captures": []}, []), signer)

    report = audit_store(archive / "store", load_trusted(None, None, archive / "keys"), Scope(recompute=False),
                         test_one_more)
    assert [finding.code for finding in report.findings] == ["circumstance.corrected"]
    assert report.held[Step.LEAF] == 6 + 4
    assert len(list((archive / "store" / "certificates").iterdir())) == 5


def test_json_has_a_stable_shape(archive, audit):
    _, told = audit(archive, "--quick")
    assert told.keys() == {"format", "clean", "targets"}
    assert told["format"] == 1
    target, = told["targets"]
    assert target.keys() == {"target", "clean", "steps", "findings"}
    assert [step["step"] for step in target["steps"]] == [
        "signature", "record", "leaf", "inclusion", "head", "consistency", "page", "file", "value", "indication",
        "verdict", "calibration", "circumstance"]
    assert all(step.keys() == {"step", "outcome", "held", "left_out"} for step in target["steps"])
    assert all(finding.keys() == {"step", "code", "severity", "what", "where", "since", "expected", "got", "remedy"}
               for finding in target["findings"])


@pytest.mark.parametrize("words", [(), ("--quick",)])
def test_quick_leaves_out_what_is_computed_again(audit, archive, words):
    _, told = audit(archive, *words)
    outcome = {step["step"]: step["outcome"] for step in told["targets"][0]["steps"]}
    for step in ("page", "value", "indication", "verdict"):
        assert outcome[step] == ("not done" if words else "holds")
