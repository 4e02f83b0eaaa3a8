"""Whoever holds every key can store what never happened, signed and logged: only the waveforms tell.

Each record here is stored by the station's own program with its own keys, beside the true files of another run.
"""

import copy
import shutil
from contextlib import contextmanager

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tampering import body, rows

from station.certificate.issue import issue_certificate
from station.certificate.signing import Signer
from station.record.log_key import LogKey
from station.record.release_entry import Revision, StudyUsed, release
from station.record.store import Kept, Store

FORGED = "entry 6, record of CP40-0777, run 1"
NOT_STORED = ("captures", "transcript", "run", "log", "attempts")     # what the store fills in


@pytest.fixture
def forge(archive, audit):
    """Store a record made of one in the archive by `change`; return what the audit of that motor finds, notes apart."""
    def run(change, seq=0, *, certify=False):
        record = copy.deepcopy(body(archive, seq))
        record["serial"] = "CP40-0777"
        with opened(archive) as store:
            run_id = store.begin(record["serial"], started=record["started"])
            files = [Kept(entry["file"], entry["sha256"], entry["codes_sha256"]) for entry in record["captures"]]
            lines = store.transcript(record)
            change(record)
            record = {key: value for key, value in record.items() if key not in ("run", "log", "attempts")}
            # the clock goes on from the last record to this one
            stored = store.finish(run_id, {**record, **times(archive)}, files, lines)
            if certify:
                issue_certificate(store, stored, Signer.load(archive / "keys"))
        _, told = audit("CP40-0777", "--station", archive / "station.toml")
        return [(each["code"], each["severity"], each["where"]) for each in told["targets"][0]["findings"]
                if each["severity"] != "note"]

    return run


@contextmanager
def opened(archive):
    key = LogKey.load(archive / "keys")
    with Store(archive / "store", log_key=key, origin=key.name) as store:
        yield store


def times(archive):
    """A time after the last record, on both clocks."""
    last = body(archive, 5)
    clock = last["clock"]
    return {"started": last["ended"], "ended": last["ended"],
            "clock": {"boot_id": clock["boot_id"], "started_monotonic_s": clock["ended_monotonic_s"],
                      "ended_monotonic_s": clock["ended_monotonic_s"]}}


def measured(record, name, label=""):
    return next(m for m in record["measurements"] if (m["name"], m["label"]) == (name, label))


def judged(record, name, label=""):
    return next(row for row in record["judged"] if (row["name"], row["label"]) == (name, label))


def test_nothing_is_found_in_a_true_record(forge):
    assert forge(lambda record: None, certify=True) == []


@pytest.mark.parametrize(("key", "by"), [("value", 1.001), ("u", 0.5), ("dof", 0.5)])
def test_measurement_forged(forge, key, by):
    def change(record):
        entry = measured(record, "thd.ab", "forward 1000")
        entry[key] *= by
        judged(record, "thd.ab", "forward 1000")[key] = entry[key]

    findings = forge(change)
    assert ("value.differs", "broken", FORGED) in findings


def test_last_bit_of_a_measurement_is_noted(archive, forge, audit):
    def change(record):
        measured(record, "flat_top.ab", "forward 1000")["value"] *= 1 + 1e-15

    assert forge(change) == []
    _, told = audit("CP40-0777", "--station", archive / "station.toml")
    assert "value.rounding" in [finding["code"] for finding in told["targets"][0]["findings"]]


@pytest.mark.parametrize(("version", "share", "found"), [
    ("", 1e-5, "broken"), ("", 0.005, "broken"), ("another", 0.005, ""), ("another", 0.02, "doubtful")])
def test_only_other_versions_may_differ_by_a_hundredth_of_u(forge, version, share, found):
    """A value moved by a share of its uncertainty, in a record made by this version or by another."""
    def change(record):
        entry = measured(record, "flat_top.ab", "forward 1000")
        entry["value"] += share * entry["u"]
        if version:
            record["software"]["station_sha256"] = 64 * "a"

    assert forge(change) == ([("value.differs", found, FORGED)] if found else [])


def test_measurement_left_out(forge):
    def change(record):
        record["measurements"].remove(measured(record, "flat_top.ab", "forward 1000"))

    assert ("value.left_out", "broken", FORGED) in forge(change)


def test_failing_motor_made_to_pass(forge):
    """Values, judged rows, verdict and reason all agree with each other: the waveforms do not."""
    def change(record):
        for row in [row for row in record["judged"] if row["result"] == "FAIL"]:
            bounds = [bound for bound in (row["lower"], row["upper"]) if bound is not None]
            row["value"], row["result"] = sum(bounds) / 2, "PASS"
            measured(record, row["name"], row["label"])["value"] = row["value"]
        record["verdict"] = "PASS"
        record["reason"] = f"All {len(record['judged'])} values lie within their acceptance limits."
        record["findings"] = []

    codes = {code for code, _, where in forge(change, seq=1) if where == FORGED}
    assert "value.differs" in codes
    assert "value.findings" in codes


def test_verdict_forged(forge):
    def change(record):
        record["verdict"], record["reason"] = "FAIL", "It was dropped."

    assert forge(change) == [("verdict.wrong", "broken", FORGED)]


def test_row_judged_by_other_limits(forge):
    def change(record):
        judged(record, "thd.ab", "forward 1000")["upper"] = 99.0

    assert forge(change) == [("verdict.row", "broken", FORGED)]


def test_winding_forged(forge):
    def change(record):
        for line in ("ab", "bc", "ca"):
            for entry in (measured(record, f"winding_resistance.{line}"), judged(record, f"winding_resistance.{line}")):
                entry["value"] *= 1.01

    findings = forge(change)
    assert findings.count(("indication.unheard", "doubtful", FORGED)) == 3
    assert ("indication.spread", "broken", FORGED) not in findings      # a ratio is the same


@pytest.mark.parametrize("name", ["insulation_resistance", "sensor_supply_current"])
def test_indication_forged(forge, name):
    def change(record):
        for entry in (measured(record, name), *(row for row in record["judged"] if row["name"] == name)):
            entry["value"] *= 1.0001

    assert ("indication.unheard", "doubtful", FORGED) in forge(change)


def test_drag_forged(forge):
    def change(record):
        measured(record, "drag_torque", "forward 1000")["value"] *= 1.0001

    assert ("indication.unheard", "doubtful", FORGED) in forge(change)


def test_instrument_out_of_calibration(forge):
    def change(record):
        record["bench"]["instruments"][1]["due"] = "2026-10-01"

    findings = forge(change)
    assert ("calibration.expired", "doubtful", f"digitizer EB-DIG-001, {FORGED}") in findings
    assert ("calibration.differs", "broken", f"digitizer, {FORGED}") in findings     # the bench file says otherwise


def test_a_run_without_result_for_want_of_calibration_is_only_noted(archive, forge, audit):
    """As the station gives it by itself."""
    def change(record):
        record["bench"]["instruments"][1]["due"] = "2026-10-01"
        record |= {"verdict": "NO RESULT", "reason": "The digitizer is out of calibration."}

    forge(change)
    _, told = audit(archive, "--quick")
    (found,) = [f for f in told["targets"][0]["findings"] if f["code"] == "calibration.expired"]
    assert (found["severity"], found["where"]) == ("note", f"digitizer EB-DIG-001, {FORGED}")


def test_extension_in_writing_is_noted(archive, forge, audit):
    def change(record):
        for instrument in record["bench"]["instruments"]:
            instrument["due"] = "2026-10-01"
            instrument["extension"] = {"person": "B. Keeper", "reason": "waiting for the laboratory",
                                       "until": "2099-12-31"}

    assert {code for code, _, _ in forge(change)} == {"calibration.differs"}
    _, told = audit(archive, "--quick")
    assert [f["code"] for f in told["targets"][0]["findings"]].count("calibration.extended") == 7


def test_clock_turned_back(archive, found):
    """The record says so itself; where it stands in the log stays."""
    record = body(archive, 0)
    with opened(archive) as store:
        run_id = store.begin("CP40-0777", started=record["started"])
        kept = {key: value for key, value in record.items() if key not in NOT_STORED}
        store.finish(run_id, {**kept, "serial": "CP40-0777", "captures": []}, [])
    assert ("circumstance.clock", "doubtful", FORGED) in found("--quick")


def test_suspects_of_a_failed_check(archive, found):
    with opened(archive) as store:
        store.add_reference_check({**body(archive, 4), "motor_type": "VB-24", "result": "BAD"})
    assert ("circumstance.suspect", "doubtful", "entry 5, record of VB24-0001, run 1") in found("--quick")
    with opened(archive) as store:      # tested again, which settles it
        add_one_more(store, archive, body(archive, 5))
    assert "circumstance.suspect" not in {code for code, _, _ in found("--quick")}


def test_entries_keep_to_their_schema(archive, audit):
    with opened(archive) as store:
        store.add_reference_check({**body(archive, 4), "operator": 5})
        store.add_statement("retention", {"files": [], "rule": {}})
    _, told = audit("VB24-0001", "--station", archive / "station.toml")
    assert {(each["code"], each["where"]) for each in told["targets"][0]["findings"] if each["severity"] != "note"} == {
        ("record.form", "entry 6, reference check 2"), ("record.form", "entry 7, retention 2")}


def test_releases_of_limit_files(archive, found):
    """A release is signed; whoever is tested after it is tested by that file."""
    record, key = body(archive, 5), LogKey.load(archive / "keys")
    used = record["limit_file"]

    def stated(sha256, signer):
        return release(Revision("VB-24", used["revision"], sha256), file=used["name"], draft_sha256=64 * "0",
                       study=StudyUsed("study", 64 * "1", 6, 64 * "2"), predecessor=None, person="B. Releaser",
                       reason="first", at=record["ended"], key=signer)

    with opened(archive) as store:
        store.add_statement("release", stated(used["sha256"], key))
        add_one_more(store, archive, record)
    assert found("--quick") == []
    with opened(archive) as store:
        store.add_statement("release", stated(64 * "f", key))
        add_one_more(store, archive, record)
        store.add_statement("release", stated(64 * "e", LogKey("eol-1", Ed25519PrivateKey.generate())))
    assert [(code, where) for code, _, where in found("--quick")] == [
        ("circumstance.unreleased", "entry 9, record of VB24-0001, run 3"),
        ("circumstance.release", "entry 10, release 4")]    # signed by another key


def add_one_more(store, archive, record):
    run_id = store.begin(record["serial"], started=record["ended"])
    kept = {key: value for key, value in record.items() if key not in NOT_STORED}
    store.finish(run_id, {**kept, **times(archive), "captures": []}, [])


def test_file_removed_by_a_rule_is_no_finding(archive, audit):
    entry = body(archive, 0)["captures"][0]
    with opened(archive) as store:
        store.add_statement("retention", {
            "format": 1, "person": "A. Auditee", "at": "2026-11-25T12:00:00.000Z",
            "files": [{"file": entry["file"], "sha256": entry["sha256"], "serial": "CP40-0001", "run": 1}],
            "rule": {"verdict": "PASS", "older_than_days": 30, "counted_to": "2026-11-25T12:00:00.000Z"}})
    (archive / "store" / entry["file"]).unlink()
    code, told = audit(archive, "--quick")
    assert code == 0
    step = next(step for step in told["targets"][0]["steps"] if step["step"] == "file")
    assert "by the rule" in step["left_out"]


def test_limit_file_of_one_revision_in_two_versions(archive, command):
    """The next motor is tested by an edited limit file of the same revision."""
    path = archive / "limits" / "VB-24.toml"
    path.write_text(path.read_text() + "\n# edited\n")
    assert command("test", "VB24-0002", "--station", archive / "station.toml")[0] in (0, 1, 3)
    code, out, _ = command("audit", archive, "--quick")
    assert code == 7
    assert "circumstance.revision: limit file was edited without a new revision" in out
    assert "VB-24.toml revision A, from entry 6, record of VB24-0002, run 1 on" in out


def test_serial_number_and_certificate_as_targets(archive, audit, tmp_path):
    place = ("--station", archive / "station.toml")
    code, told = audit("CP40-0002", *place)
    held = {step["step"]: step["held"] for step in told["targets"][0]["steps"]}
    assert code == 0
    assert held["signature"] == 2
    paper = shutil.copy(archive / "store" / "certificates" / "VB24-0001-run1.pdf", tmp_path)
    for words in (place, ("--authority", archive / "keys" / "plant-ca.pem", "--log-key", archive / "keys" / "log.pub")):
        code, told = audit(paper, *words)
        outcome = {step["step"]: step["outcome"] for step in told["targets"][0]["steps"]}
        assert code == 0
        assert outcome["signature"] == outcome["page"] == outcome["inclusion"] == "holds"
        assert outcome["value"] == ("holds" if words is place else "not done")


def test_certificate_of_a_rebuilt_log(archive, audit, tmp_path):
    """A certificate that left the plant convicts a log that was rewritten with the key."""
    from tampering import put_body, rebuild_log
    paper = shutil.copy(archive / "store" / "certificates" / "VB24-0001-run1.pdf", tmp_path)
    record = body(archive, 5)
    record["operator"] = "somebody else"
    put_body(archive, 5, record)
    rebuild_log(archive, LogKey.load(archive / "keys").sign)
    shutil.rmtree(archive / "store" / "certificates")
    (archive / "store" / "log.head").unlink()
    assert audit(archive, "--quick")[0] == 0        # nothing in the archive tells
    code, told = audit(paper, "--quick", "--station", archive / "station.toml")
    assert code == 7
    assert "consistency.certificate" in {finding["code"] for finding in told["targets"][0]["findings"]}


def test_several_archives(archive, made, audit, tmp_path):
    shutil.copytree(made, tmp_path / "line 2")
    code, told = audit(tmp_path, "--quick")
    assert code == 0
    assert [target["target"] for target in told["targets"]] == [str(archive / "store"),
                                                                str(tmp_path / "line 2" / "store")]
    assert all(target["steps"][4]["held"] == 10 for target in told["targets"])     # each by its own keys


def test_no_such_target(command, archive):
    code, _, told = command("audit", "CP40-9999", "--station", archive / "station.toml")
    assert code == 2
    assert "no such test" in told
    assert rows(archive, "SELECT count(*) FROM records") == [(4,)]
