"""`station log`: from a tested motor to a head that somebody else has kept, and what it then proves."""

import json
import sqlite3

import pytest

from station.exit_code import ExitCode
from station.record.checkpoint import open_checkpoint
from station.record.evidence import read_evidence
from station.record.log_key import LogKey, load_verifier
from station.record.merkle import verify_inclusion
from station.record.record import interrupted_record
from station.record.schema import DATABASE
from station.record.store import Store

AT = "2026-11-25T10:00:00.000Z"


@pytest.fixture
def line(folder):
    """A starter folder with keys and three records, its station closed."""
    origin = "varnholt-1"
    text = (folder / "station.toml").read_text(encoding="utf-8")
    head, _, _ = text.partition("[signing]") if "[signing]" in text else (text, "", "")
    (folder / "station.toml").write_text(f'{head.rstrip()}\n\n[signing]\nkeys = "log keys"\norigin = "{origin}"\n',
                                         encoding="utf-8")
    key = LogKey.make(folder / "log keys", origin)
    with Store(folder / "store", log_key=key) as store:
        for serial in ("A", "B", "C"):
            record = {**interrupted_record(serial, AT, AT, {"motor_type": {"name": "CP-40"}}), "verdict": "PASS"}
            store.finish(store.begin(serial, started=AT), record, [])
    return folder


def grow(folder):
    with Store(folder / "store", log_key=LogKey.load(folder / "log keys")) as store:
        store.add_statement("correction", {"about": "A"})


def test_the_head_is_printed_as_it_was_signed(line, command):
    code, out, _ = command("log", "head", "--station", line / "station.toml")
    assert code == 0
    assert open_checkpoint(out, [load_verifier(line / "log keys" / "log.pub")], "here").size == 3


def test_an_entry_is_proved(line, command):
    code, out, _ = command("log", "prove", 1, "--station", line / "station.toml")
    with Store(line / "store", read_only=True) as store:
        evidence = read_evidence(store.evidence(store.show("B")[0]).record_bytes, out.strip().encode(), "here")
        head = store.log.head(2)
    assert (code, evidence.seq) == (0, 1)
    assert verify_inclusion(evidence.leaf, 1, 2, evidence.inclusion, head.root)
    code, _, err = command("log", "prove", 3, "--station", line / "station.toml")
    assert (code, "no such entry" in err) == (ExitCode.WRONG_USE, True)


def test_a_witness_keeps_what_the_station_cannot_take_back(line, command, tmp_path):
    station, elsewhere = line / "station.toml", tmp_path / "elsewhere"
    public = line / "log keys" / "log.pub"
    code, out, _ = command("log", "witness-key", "quality-1", "--keys", elsewhere)
    assert (code, out.strip()) == (0, (elsewhere / "witness.pub").read_text(encoding="utf-8").strip())
    for since in (0, 3):
        request, note = tmp_path / "request", tmp_path / "note"
        request.write_text(command("log", "head", "--since", since, "--station", station)[1], encoding="utf-8")
        code, out, _ = command("log", "witness", request, "--keys", elsewhere, "--log-key", public)
        assert code == 0
        note.write_text(out, encoding="utf-8")
        code, out, _ = command("log", "keep", note, "--witness", elsewhere / "witness.pub", "--station", station)
        assert (code, out.strip()) == (0, "1 cosignature(s) kept")
        assert command("log", "head", "--station", station)[1] == note.read_text(encoding="utf-8")
        grow(line)

    code, _, err = command("log", "witness", request, "--keys", elsewhere, "--log-key", public)
    assert (code, "log head --since 4" in err) == (ExitCode.WRONG_USE, True)
    for path in (line / "store").glob("*.sqlite*"):     # the station starts over, with the same key
        path.unlink()
    (line / "store" / "log.head").unlink()
    for _ in range(6):
        grow(line)
    request.write_text(command("log", "head", "--since", 4, "--station", station)[1], encoding="utf-8")
    code, _, err = command("log", "witness", request, "--keys", elsewhere, "--log-key", public)
    assert (code, "the log was rewritten" in err) == (ExitCode.EVIDENCE, True)


def test_a_whole_log_is_checked(line, command):
    station = line / "station.toml"
    code, out, _ = command("log", "check", "--station", station)
    assert (code, "no fault found" in out, "its signed heads" in out) == (0, True, True)
    other = LogKey.make(line / "other", "varnholt-1")
    code, out, _ = command("log", "check", "--station", station, "--key", line / "other" / "log.pub")
    assert (code, out.count("signed by no known key")) == (ExitCode.EVIDENCE, 3)
    assert other.name in out
    forger = sqlite3.connect(line / "store" / DATABASE)
    forger.executescript("DROP TRIGGER records_update; UPDATE records SET body = "
                         "CAST(replace(CAST(body AS TEXT), 'PASS', 'FAIL') AS BLOB) WHERE serial = 'B';")
    forger.close()
    code, out, _ = command("log", "check", "--station", station)
    assert (code, "entry 1 of the log of varnholt-1: record was altered" in out) == (ExitCode.EVIDENCE, True)
    code, _, err = command("records", "correct", "A", "--run", 1, "--what", "void", "--person", "K. Ilmen",
                           "--reason", "wrong motor", "--station", station)
    assert (code, "record was altered" in err) == (ExitCode.EVIDENCE, True)    # nothing is written to such a store


def test_a_file_that_is_none_is_told(line, command, tmp_path):
    words = ("--keys", tmp_path, "--log-key", line / "log keys" / "log.pub")
    code, _, err = command("log", "witness", tmp_path / "absent", *words)
    assert (code, "file cannot be read" in err) == (ExitCode.WRONG_USE, True)
    (tmp_path / "note").write_text("no note", encoding="utf-8")
    code, _, err = command("log", "witness", tmp_path / "note", *words)
    assert (code, "not a request" in err) == (ExitCode.EVIDENCE, True)


def test_the_proof_is_canonical(line, command):
    out = command("log", "prove", 0, "--station", line / "station.toml")[1]
    assert json.loads(out)["format"] == 1
    assert out == json.dumps(json.loads(out), sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n"
