"""What is done to the database of a store is found, and called what it is, at the place where it was done."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from tampering import body, carry_out, database, put_body, rebuild_log, rows

from station.record.checkpoint import Checkpoint
from station.record.log_key import LogKey

BROKEN = "broken"
HEADS = "SELECT checkpoint FROM log ORDER BY seq"


@pytest.fixture(autouse=True)
def no_head_beside(archive):
    """The head beside the database is the first that goes."""
    (archive / "store" / "log.head").unlink()


@pytest.fixture
def head_elsewhere(archive, tmp_path):
    """The last head of the log, kept by somebody else."""
    path = tmp_path / "kept.head"
    path.write_text(rows(archive, HEADS)[-1][0])
    return path


def own_key(archive):
    return LogKey.load(archive / "keys")


def made_better(record):
    """The record of a motor that failed, its values brought within limits."""
    for row in record["judged"]:
        if row["result"] == "FAIL":
            bounds = [bound for bound in (row["lower"], row["upper"]) if bound is not None]
            row["value"], row["result"] = sum(bounds) / 2, "PASS"
    record["verdict"], record["reason"] = "PASS", f"All {len(record['judged'])} values lie within their limits."
    return record


def codes(findings):
    return {code for code, _, _ in findings}


def test_value_changed_in_a_record(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)))
    assert ("record.altered", BROKEN, "entry 1, record of CP40-0002, run 1") in found("--quick")


def test_value_changed_and_the_hash_beside_it(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)), sha256=True)
    assert ("leaf.wrong", BROKEN, "entry 1, record of CP40-0002, run 1") in found("--quick")


def test_value_changed_and_its_leaf(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)), sha256=True, leaf=True)
    carry_out(archive, "UPDATE records SET verdict = 'PASS' WHERE run_id = 2")
    findings = found("--quick")
    assert ("consistency.rewritten", BROKEN, "entry 1, record of CP40-0002, run 1") in findings
    assert ("consistency.chain", BROKEN, "entry 2, record of CP40-0002, run 2") in findings


def test_log_rebuilt_without_the_key(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)))
    carry_out(archive, "UPDATE records SET verdict = 'PASS' WHERE run_id = 2")
    heads = iter([note for note, in rows(archive, HEADS)])
    rebuild_log(archive, lambda _text: next(heads))
    findings = found("--quick")
    assert ("consistency.rewritten", BROKEN, "entry 1, record of CP40-0002, run 1") in findings
    assert "consistency.chain" not in codes(findings)


def test_log_rebuilt_with_heads_left_out(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)))
    rebuild_log(archive, lambda _text: "")
    assert ("head.unsigned", BROKEN, "entry 0, record of CP40-0001, run 1") in found("--quick")


def test_log_rebuilt_with_a_key_of_ones_own(archive, found):
    put_body(archive, 1, made_better(body(archive, 1)))
    rebuild_log(archive, LogKey("eol-1", Ed25519PrivateKey.generate()).sign)
    findings = found("--quick")
    assert {("head.foreign_key", BROKEN, f"entry {seq}, {name}") for seq, name in [
        (0, "record of CP40-0001, run 1"), (5, "record of VB24-0001, run 1")]} <= set(findings)


def test_log_rebuilt_with_the_stolen_key_is_found_by_its_certificates_and_an_outside_head(archive, found,
                                                                                         head_elsewhere):
    put_body(archive, 1, made_better(body(archive, 1)))
    carry_out(archive, "UPDATE records SET verdict = 'PASS' WHERE run_id = 2")
    rebuild_log(archive, own_key(archive).sign)
    findings = found("--quick", "--head", head_elsewhere)
    assert ("consistency.rewritten", BROKEN, "entries 0 to 5") in findings
    assert "consistency.certificate" in codes(findings)


def test_record_deleted(archive, found):
    carry_out(archive, "DELETE FROM records WHERE run_id = 2")
    findings = found("--quick")
    assert ("record.missing", BROKEN, "entry 1, record of an unknown motor, run ?") in findings
    assert ("record.unknown", BROKEN, f"{archive}/store/certificates/CP40-0002-run1.pdf") in findings


def test_since_when_a_record_is_gone_is_told_by_its_certificate(archive, audit):
    started = body(archive, 1)["started"]
    carry_out(archive, "DELETE FROM records WHERE run_id = 2")
    _, told = audit(archive, "--quick")
    since = {finding["code"]: finding["since"] for finding in told["targets"][0]["findings"]}
    assert since["record.unknown"] == f"seq 1, {started}"


def test_record_deleted_with_its_entry(archive, found):
    carry_out(archive, "DELETE FROM records WHERE run_id = 2", "DELETE FROM log WHERE seq = 1")
    assert ("consistency.gap", BROKEN, "entries 1 to 1") in found("--quick")


def test_last_records_cut_off(archive, found, head_elsewhere):
    carry_out(archive, "DELETE FROM records WHERE run_id = 4", "DELETE FROM log WHERE seq = 5",
              "DELETE FROM nodes WHERE level = 1 AND position = 2", "DELETE FROM runs WHERE run_id = 4")
    (archive / "store" / "certificates" / "VB24-0001-run1.pdf").unlink()
    assert found("--quick") == []       # nothing in the archive can tell
    assert found("--quick", "--head", head_elsewhere) == [("consistency.cut_off", BROKEN, "entries 5 to 5")]


def test_two_records_exchanged(archive, found):
    first, second = (rows(archive, "SELECT serial, run, motor_type, verdict, started, sha256, body FROM records "
                          "WHERE run_id = ?", run_id)[0] for run_id in (1, 4))
    update = ("UPDATE records SET serial = ?, run = ?, motor_type = ?, verdict = ?, started = ?, sha256 = ?, body = ? "
              "WHERE run_id = ?")
    carry_out(archive, (update, (*second, 1)), (update, (*first, 4)))
    findings = found("--quick")
    assert ("record.place", BROKEN, "entry 0, record of VB24-0001, run 1") in findings
    assert ("record.place", BROKEN, "entry 5, record of CP40-0001, run 1") in findings


def test_verdict_changed_in_its_column(archive, found):
    carry_out(archive, "UPDATE records SET verdict = 'PASS' WHERE run_id = 3")
    assert found("--quick") == [("record.index", BROKEN, "entry 2, record of CP40-0002, run 2")]


def test_gap_in_the_numbers(archive, found):
    carry_out(archive, "UPDATE log SET seq = 6 WHERE seq = 5")
    assert ("consistency.gap", BROKEN, "entries 5 to 5") in found("--quick")


def test_record_put_in_without_an_entry(archive, found):
    carry_out(archive, "INSERT INTO runs (run_id, serial, run, started, heading) VALUES (9, 'CP40-0009', 1, 'x', '{}')",
              "INSERT INTO records SELECT 9, 'CP40-0009', 1, motor_type, verdict, started, sha256, body FROM records "
              "WHERE run_id = 1")
    (code, severity, where), = found("--quick")
    assert (code, severity) == ("leaf.missing", BROKEN)
    assert "CP40-0009" in where


def test_chain_cut(archive, found):
    carry_out(archive, ("UPDATE log SET previous = ? WHERE seq = 3", (bytes(32),)))
    assert found("--quick") == [("consistency.chain", BROKEN, "entry 3, correction 1")]


def test_reference_check_altered(archive, found):
    put_body(archive, 4, {**body(archive, 4), "result": "BAD"})
    assert found("--quick") == [("record.altered", BROKEN, "entry 4, reference check 1")]


def test_correction_removed(archive, found):
    carry_out(archive, "DELETE FROM statements WHERE kind = 'correction'")
    assert found("--quick") == [("record.missing", BROKEN, "entry 3, correction 1")]


def test_signature_of_a_head_altered(archive, found):
    note = rows(archive, HEADS)[2][0]
    place = len(note) - 20
    other = note[:place] + ("A" if note[place] != "A" else "B") + note[place + 1:]
    carry_out(archive, ("UPDATE log SET checkpoint = ? WHERE seq = 2", (other,)))
    assert found("--quick") == [("head.broken", BROKEN, "entry 2, record of CP40-0002, run 2")]


def test_heads_exchanged(archive, found):
    heads = [note for note, in rows(archive, HEADS)]
    carry_out(archive, ("UPDATE log SET checkpoint = ? WHERE seq = 2", (heads[3],)))
    assert found("--quick") == [("head.exchanged", BROKEN, "entry 2, record of CP40-0002, run 2")]


def test_head_of_another_log(archive, found):
    note = own_key(archive).sign(Checkpoint("eol-2", 3, bytes(32)).text())
    carry_out(archive, ("UPDATE log SET checkpoint = ? WHERE seq = 2", (note,)))
    assert found("--quick") == [("head.other_log", BROKEN, "entry 2, record of CP40-0002, run 2")]


def test_log_renamed(archive, found):
    carry_out(archive, "UPDATE log_origin SET origin = 'eol-2'")
    assert codes(found("--quick")) >= {"head.other_log"}


def test_key_exchanged(archive, found):
    other = LogKey("eol-1", Ed25519PrivateKey.generate())
    (archive / "keys" / "log.pub").write_text(f"{other.verifier}\n")
    assert ("head.foreign_key", BROKEN, "entry 0, record of CP40-0001, run 1") in found("--quick")


def test_heads_elsewhere_hold(archive, audit, head_elsewhere, tmp_path):
    early = tmp_path / "early.head"
    early.write_text(rows(archive, HEADS)[1][0])
    code, told = audit(archive, "--quick", "--head", head_elsewhere, "--head", early)
    assert code == 0
    step = next(step for step in told["targets"][0]["steps"] if step["step"] == "consistency")
    assert step["held"] == 6 + 4 + 2        # heads in the log, in certificates, and elsewhere
    assert step["left_out"] == ""


def test_database_damaged_beyond_reading(archive, found):
    content = bytearray(database(archive).read_bytes())
    content[100:4096] = bytes(3996)
    database(archive).write_bytes(bytes(content))
    assert found("--quick") == [("record.unreadable", BROKEN, str(database(archive)))]
