"""What stations of earlier times have written is read, proven and printed by the station of today, for ever."""

import json
import tarfile
from pathlib import Path

import pytest
from make_golden import contents_of

from station.analysis.stitch import analyse_captures
from station.certificate.render import render_certificate
from station.judgement.limit_file import parse_limits
from station.record.checkpoint import open_checkpoint
from station.record.kept_files import kept_file
from station.record.log_key import load_verifier
from station.record.merkle import leaf_hash, verify_inclusion
from station.record.record import canonical
from station.record.record_schema import faults_of
from station.record.retention import removed_files
from station.record.store import Store
from station.sequence_file import parse_sequence
from station.toml_file import parse_toml

HERE = Path(__file__).parent
STORES = [(path.stem, name) for path in sorted(HERE.glob("*.json")) for name in json.loads(path.read_text("utf-8"))]


@pytest.fixture(scope="module", params=STORES, ids="/".join)
def unpacked(request, tmp_path_factory):
    """One golden store: its folder, and what its station read from it."""
    generation, name = request.param
    folder = tmp_path_factory.mktemp(generation)
    with tarfile.open(HERE / f"{generation}.tar.xz") as tar:
        tar.extractall(folder, filter="data")
    return folder / name / "store", json.loads((HERE / f"{generation}.json").read_text("utf-8"))[name]


@pytest.fixture
def store(unpacked):
    with Store(unpacked[0], read_only=True) as opened:
        yield opened


def test_every_entry_and_every_file_is_still_what_it_was(unpacked):
    folder, told = unpacked
    assert contents_of(folder) == told


def test_every_entry_keeps_to_its_schema(store):
    for record in store.find():
        assert faults_of("record", record) == []
    for check in store.reference_checks():
        assert faults_of("reference check", check) == []
    for said in store.statements("correction"):
        assert faults_of("correction", said) == []
    for said in store.statements("retention"):
        assert faults_of("retention", said) == []


def test_captures_and_transcripts_are_read(store):
    gone = removed_files(store.statements("retention"))
    for record in store.find():
        if not any(entry["file"] in gone for entry in record["captures"]):
            assert [one.label for one in store.captures(record)] == [entry["label"] for entry in record["captures"]]
        lines = store.transcript(record)
        assert lines is not None or record["reason"] == "interrupted"     # once, that left no transcript
        assert lines is None or all(json.loads(line)["role"] for line in lines.splitlines())


def test_files_in_force_are_read(unpacked, store):
    for record in store.find():
        for entry in record.get("files", ()):
            source = parse_toml(kept_file(unpacked[0], entry["sha256"]), entry["name"])
            match entry["kind"]:
                case "limit file":
                    limits = parse_limits(source)
                    assert limits.motor_type.name == record["motor_type"]["name"]
                    assert limits.runs_allowed == record["runs_allowed"]
                case "sequence":
                    assert parse_sequence(source).revision == record["sequence"]["revision"]


def test_a_certificate_is_printed(store):
    for record in store.find():
        assert render_certificate(record).startswith(b"%PDF")


def test_captures_give_what_was_measured(unpacked, store):
    """The same captures give the same values, within a hundredth of u across versions of the analysis."""
    gone = removed_files(store.statements("retention"))
    for record in store.find():
        entries = {(each["kind"]): each for each in record.get("files", ())}
        if "limit file" not in entries or any(each["file"] in gone for each in record["captures"]):
            continue
        limits = parse_limits(parse_toml(kept_file(unpacked[0], entries["limit file"]["sha256"]), "limits.toml"))
        measured = {(m["name"], m["label"]): m for m in record["measurements"]}
        captures = store.captures(record)
        for label in dict.fromkeys(one.label for one in captures):
            parts = tuple(one for one in captures if one.label == label)
            for now in analyse_captures(parts, limits.motor_type).measurements.values():
                then = measured[now.name, label]
                assert abs(now.value - then["value"]) <= 0.01 * then["u"], (record["serial"], now.name, label)


def test_a_store_is_brought_up_to_date_without_a_change_to_what_it_holds(unpacked, tmp_path):
    folder, told = unpacked
    copy = tmp_path / "store"
    for path in folder.rglob("*"):
        if path.is_file():
            (copy / path.relative_to(folder)).parent.mkdir(parents=True, exist_ok=True)
            (copy / path.relative_to(folder)).write_bytes(path.read_bytes())
    with Store(copy) as opened:
        entries = [*opened.find(), *opened.reference_checks(), *opened.statements("correction"),
                   *opened.statements("retention")]
        assert len(opened.log) == len(entries)
        for record in opened.find():
            evidence = opened.evidence(record)
            assert leaf_hash(canonical(record)) == evidence.leaf
            head = opened.log.head(evidence.size)
            assert verify_inclusion(evidence.leaf, evidence.seq, evidence.size, evidence.inclusion, head.root)
    assert contents_of(copy) == told


def test_heads_carry_the_signature_of_the_station_of_that_time(unpacked, store):
    public = unpacked[0].parent / "keys" / "log.pub"
    if not public.exists():
        pytest.skip("from before heads were signed")
    for record in store.find():
        evidence = store.evidence(record)
        head = open_checkpoint(evidence.checkpoint, [load_verifier(public)], "golden")
        assert (head.origin, head.size) == (record["log"]["origin"], record["log"]["seq"] + 1)
        assert verify_inclusion(evidence.leaf, evidence.seq, head.size, evidence.inclusion, head.root)


def test_each_kind_of_record_is_among_them(unpacked, store):
    """So that the tests above say something: a generation holds one of each that its stations could write."""
    records, stitched = store.find(), unpacked[0].parent.name == "stitched"
    if stitched:
        assert [entry["part"] for entry in records[0]["captures"]] == [[1, 2], [2, 2]] * 2
        return
    assert {record["verdict"] for record in records} == {"PASS", "FAIL", "NO RESULT"}
    assert "interrupted" in {record["reason"] for record in records}
    assert {record.get("purpose") for record in records} == {None, "reference check"}
    assert [check["result"] for check in store.reference_checks()] == ["GOOD"]
    if any("log" in record for record in records):
        assert [said["what"] for said in store.statements("correction")] == ["note", "void"]
        assert len(store.statements("retention")) == 1
        assert any(record.get("further_run") for record in records)
        assert [len(record["attempts"]) for record in records if record["serial"] == "CP60-0003"] == [0, 1, 2]
        assert any(record["clock"]["flags"] for record in records)
    if "coded-causes" in str(unpacked[0]):
        assert [record["cause"] for record in records if record["serial"] == "CP40-0002"] == [
            {"code": "guard_opened", "at": "guard"}]
