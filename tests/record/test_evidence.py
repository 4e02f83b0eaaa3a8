"""A proof is carried as canonical JSON and read back as it was written, or refused."""

import json

import pytest
import rfc8785
from stored_records import run_of

from station.errors import EvidenceError
from station.record.evidence import Evidence, read_evidence
from station.record.store import Store

EVIDENCE = Evidence(b'{"a":1}', "eol-1", 2, bytes(32), 3, (bytes(31) + b"\x01",), "")


def test_a_proof_is_read_as_it_was_written(tmp_path):
    with Store(tmp_path) as store:
        for _ in range(5):
            evidence = store.evidence(run_of(store, "A"))
            assert read_evidence(evidence.record_bytes, evidence.as_json(), "here") == evidence


def test_the_form_of_a_proof():
    assert json.loads(EVIDENCE.as_json()) == {
        "format": 1, "origin": "eol-1", "seq": 2, "size": 3, "leaf": "00" * 32, "inclusion": ["00" * 31 + "01"],
        "checkpoint": ""}


def changed(**parts):
    return rfc8785.dumps({**json.loads(EVIDENCE.as_json()), **parts})


@pytest.mark.parametrize("proof", [
    b"", b"{}", b"[]", b"null", EVIDENCE.as_json()[:-1], b" " + EVIDENCE.as_json(), changed(format=2), changed(seq="2"),
    changed(leaf="xx"), changed(leaf="00 " * 32), changed(inclusion="00"), changed(inclusion=[1]), changed(more=1),
    changed(checkpoint=None), changed(origin=1), b"\xff"])
def test_what_is_no_proof_is_refused(proof):
    with pytest.raises(EvidenceError, match="proof"):
        read_evidence(EVIDENCE.record_bytes, proof, "here")
