"""station.certificate.issue: a certificate is kept whole, once, and never in place of another."""

from datetime import timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader

from station.certificate.build import build_certificate
from station.certificate.issue import certificate_path, issue_certificate
from station.certificate.signing import Signer
from station.errors import EvidenceError, StationError, UsageError
from station.record.checkpoint import parse_checkpoint
from station.record.evidence import belongs, read_evidence
from station.record.log_key import LogKey
from station.record.merkle import verify_inclusion
from station.record.signed_note import parse_note, verify_note
from station.record.store import Store


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "store", log_key=LogKey.make(tmp_path / "keys", "l2-eol1"), origin="l2-eol1") as opened:
        yield opened


@pytest.fixture
def stored(store, record):
    """Two motors tested; the record of the second."""
    for serial in ("CP40-0001", "CP40-0002"):
        run_id = store.begin(serial, started=record["started"])
        last = store.finish(run_id, record | {"serial": serial, "captures": [], "plots": []}, [])
    return last


def test_it_is_signed_and_proves_its_place_in_the_log(store, stored, signer, pdfsig, tmp_path):
    path = issue_certificate(store, stored, signer)
    assert path == certificate_path(store.folder, stored) == store.folder / "certificates" / "CP40-0002-run1.pdf"
    content = path.read_bytes()
    assert "Certificate is Trusted" in pdfsig(content)
    attached = PdfReader(BytesIO(content)).attachments
    proven = read_evidence(attached["record.json"][0], attached["proof.json"][0], str(path))
    assert belongs(proven)
    key = LogKey.load(tmp_path / "keys").verifier
    note = parse_note(proven.checkpoint, "proof.json")
    verify_note(note, [key], "proof.json")
    head = parse_checkpoint(note.text, "proof.json")
    assert (head.origin, head.size) == ("l2-eol1", 2)
    assert verify_inclusion(proven.leaf, proven.seq, proven.size, proven.inclusion, head.root)


def test_it_is_issued_once(store, stored, signer):
    path = issue_certificate(store, stored, signer)
    content = path.read_bytes()
    assert issue_certificate(store, stored, signer) == path
    assert path.read_bytes() == content
    assert [kept.name for kept in path.parent.iterdir()] == [path.name]


def test_one_that_was_altered_stays_for_the_audit(store, stored, signer):
    path = issue_certificate(store, stored, signer)
    altered = path.read_bytes().replace(b"/Lang (en-GB)", b"/Lang (en-US)")
    assert altered != path.read_bytes()
    path.write_bytes(altered)
    other = issue_certificate(store, stored, signer)
    assert other.name == "CP40-0002-run1-issue2.pdf"
    assert path.read_bytes() == altered
    assert issue_certificate(store, stored, signer) == other


def test_without_a_key_it_is_unsigned_until_there_is_one(store, stored, signer):
    plain = issue_certificate(store, stored, None)
    assert plain.read_bytes() == build_certificate(store.evidence(stored))
    signed = issue_certificate(store, stored, signer)
    assert signed != plain
    assert signed.read_bytes().startswith(plain.read_bytes())
    assert issue_certificate(store, stored, None) == plain


def test_nothing_is_kept_of_what_could_not_be_signed(store, stored, plant, clock_after):
    with pytest.raises(EvidenceError, match="may not sign now"):
        issue_certificate(store, stored, Signer.load(plant / "keys", clock_after(timedelta(days=4000))))
    assert not (store.folder / "certificates").exists()


def test_a_folder_that_cannot_be_written_is_told(store, stored, signer):
    (store.folder / "certificates").write_text("in the way")
    with pytest.raises(StationError, match="could not be kept") as caught:
        issue_certificate(store, stored, signer)
    assert "station certificate" in caught.value.remedy


def test_a_kept_one_that_cannot_be_read_is_told(store, stored, signer):
    certificate_path(store.folder, stored).mkdir(parents=True)
    with pytest.raises(StationError, match="cannot be read"):
        issue_certificate(store, stored, signer)


def test_a_record_that_is_not_stored_has_no_certificate(store, stored, signer):
    with pytest.raises(UsageError, match="no such record"):
        issue_certificate(store, stored | {"serial": "CP40-0003"}, signer)
