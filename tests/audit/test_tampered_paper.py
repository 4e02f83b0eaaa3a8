"""What is done to a certificate is found, by the audit and by the checker that stands alone."""

import io
import random
import re
import shutil
import subprocess
import sys
import zlib
from pathlib import Path

import pikepdf
import pytest
from tampering import body, flip

from station.audit import check_certificate
from station.certificate.key_folder import new_private_key
from station.certificate.signing import Signer, sign_certificate

BROKEN = "broken"
FIRST = "entry 0, record of CP40-0001, run 1"


@pytest.fixture
def paper(archive):
    return archive / "store" / "certificates" / "CP40-0001-run1.pdf"


@pytest.fixture
def alone(archive):
    """Run the checker as an outside auditor does: by itself, without this package."""
    def run(path, keys=archive / "keys"):
        done = subprocess.run([sys.executable, "-I", check_certificate.__file__, str(path), str(keys / "plant-ca.pem"),
                               str(keys / "log.pub")], capture_output=True, text=True, check=False)
        assert not done.stderr
        return done.returncode, done.stdout

    return run


def test_untouched(paper, alone, archive):
    code, told = alone(paper)
    assert code == 0
    assert f"VERDICT PASS: {body(archive, 0)['reason']}" in told
    assert "CP40-0001, type CP-40, run 1" in told


def test_bit_flipped_in_the_pages(paper, found, alone):
    flip(paper, page_stream(paper)[0] + 100)
    assert found("--quick") == [("signature.broken", BROKEN, f"{paper}: {FIRST}")]
    code, told = alone(paper)
    assert code == 7
    assert told.startswith("NOT  signature.broken")


def test_since_when_is_told_by_the_certificate_itself(archive, paper, audit):
    flip(paper, page_stream(paper)[0] + 100)
    elsewhere = paper.rename(archive.parent / paper.name)
    code, told = audit(elsewhere, "--authority", archive / "keys" / "plant-ca.pem")
    assert code == 7
    assert {finding["since"] for finding in told["targets"][0]["findings"]} == {f"seq 0, {body(archive, 0)['started']}"}


def test_value_in_the_text_changed(paper, found, alone):
    _rewrite_page(paper)
    assert ("signature.not_whole_file", BROKEN, f"{paper}: {FIRST}") in found("--quick")
    assert alone(paper)[0] == 7


def test_value_in_the_text_changed_in_place(paper, found, alone):
    """Not a byte is moved: the page's stream is packed anew into the room that it had."""
    content, (start, size) = paper.read_bytes(), page_stream(paper)
    page = zlib.decompress(content[start:start + size])
    packed = zlib.compress(page.replace(b"(PASS)", b"(FAIL)", 1).rstrip(), 9)
    assert len(packed) <= size
    paper.write_bytes(content[:start] + packed.ljust(size, b"\0") + content[start + size:])
    assert found("--quick") == [("signature.broken", BROKEN, f"{paper}: {FIRST}")]
    assert alone(paper)[0] == 7


def test_attachment_changed_and_saved_anew(paper, found, alone):
    with pikepdf.open(paper) as pdf:
        content = bytes(pdf.attachments["record.json"].get_file().read_bytes()).replace(b'"PASS"', b'"FAIL"')
        pdf.attachments["record.json"] = pikepdf.AttachedFileSpec(pdf, content, filename="record.json")
        out = io.BytesIO()
        pdf.save(out)
    paper.write_bytes(out.getvalue())
    assert {code for code, _, where in found("--quick") if where.startswith(str(paper))} & {
        "signature.missing", "signature.not_whole_file"}
    assert alone(paper)[0] == 7


def test_certificate_of_another_run(archive, paper, found):
    shutil.copy(archive / "store" / "certificates" / "CP40-0002-run1.pdf", paper)
    assert found("--quick") == [("record.other_run", BROKEN, f"{paper}: {FIRST}")]


def test_signed_by_a_foreign_authority(archive, paper, found, alone, tmp_path):
    from station.certificate.build import build_certificate
    from station.certificate.key_folder import keep_station_key
    from station.certificate.plant_authority import PlantAuthority
    from station.clock import system_clock
    from station.record.evidence import read_evidence
    files = check_certificate.embedded(paper.read_bytes())
    clock, private = system_clock(), new_private_key()
    authority = PlantAuthority.make(tmp_path / "authority", "Varnholt Works", clock)
    own = authority.issue("EOL-1", private.public_key(), clock)
    keep_station_key(tmp_path / "keys", private, [own, authority.certificate])
    unsigned = build_certificate(read_evidence(files["record.json"], files["proof.json"], "paper"))
    paper.write_bytes(sign_certificate(unsigned, Signer.load(tmp_path / "keys")))
    assert found("--quick") == [("signature.untrusted", BROKEN, f"{paper}: {FIRST}")]
    assert alone(paper)[1].startswith("NOT  signature.untrusted")


def test_something_added_after_signing(paper, found, alone):
    update = b"\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"
    paper.write_bytes(paper.read_bytes() + update)
    assert ("signature.not_whole_file", BROKEN, f"{paper}: {FIRST}") in found("--quick")
    assert alone(paper)[1].startswith("NOT  signature.not_whole_file")


def test_cut_short(paper, found, alone):
    paper.write_bytes(paper.read_bytes()[:-5000])
    assert found("--quick") == [("signature.missing", BROKEN, f"{paper}: {FIRST}")]
    assert alone(paper)[0] == 7


def test_signature_taken_off(paper, found, alone):
    content = paper.read_bytes()
    paper.write_bytes(content[:content.index(b"%%EOF") + 6])
    assert ("signature.missing", BROKEN, f"{paper}: {FIRST}") in found("--quick")
    assert alone(paper)[1].startswith("NOT  signature.missing")


def test_other_pages_signed_by_the_station(archive, paper, found):
    """Whoever holds the station's key can sign any page: drawn again, it is another."""
    content = paper.read_bytes()
    paper.write_bytes(content[:content.index(b"%%EOF") + 6])
    _rewrite_page(paper)
    paper.write_bytes(sign_certificate(paper.read_bytes(), Signer.load(archive / "keys")))
    assert found("--quick") == []
    assert found() == [("page.differs", BROKEN, f"{paper}: {FIRST}")]


def test_certificate_without_its_record(archive, paper, found):
    shutil.move(paper, paper.with_name("CP40-0099-run1.pdf"))
    assert found("--quick") == [("record.unknown", BROKEN, str(paper.with_name("CP40-0099-run1.pdf")))]


def test_log_key_of_another_station(archive, paper, alone, tmp_path):
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from station.record.log_key import LogKey
    shutil.copytree(archive / "keys", tmp_path / "keys")
    for name, code in (("eol-1", "head.foreign_key"), ("eol-2", "head.other_log")):
        (tmp_path / "keys" / "log.pub").write_text(f"{LogKey(name, Ed25519PrivateKey.generate()).verifier}\n")
        assert alone(paper, tmp_path / "keys")[1].splitlines()[-1].startswith(f"NOT  {code}")


def test_flipped_anywhere(archive, paper):
    """Whatever bit is flipped, in pages, attachments, signature or certificates, nothing passes."""
    content = paper.read_bytes()
    authority = (archive / "keys" / "plant-ca.pem").read_bytes()
    key = (archive / "keys" / "log.pub").read_text()
    assert "VERDICT PASS" in list(check_certificate.check(content, authority, key))[-1]
    signature = content.index(b"/Contents <")
    rng = random.Random(20261125)
    places = [rng.randrange(len(content)) for _ in range(150)]
    places += [signature + rng.randrange(3000) for _ in range(150)]
    for place in places:
        other = bytearray(content)
        other[place] ^= 1 << rng.randrange(8)
        with pytest.raises((check_certificate.DoubtError, *check_certificate.UNREADABLE)):
            list(check_certificate.check(bytes(other), authority, key))


def test_pdfsig_says_the_same(archive, paper, tmp_path):
    """The verdict on the signature is that of a verifier that nobody here wrote."""
    store = tmp_path / "nss"
    store.mkdir()
    subprocess.run(["certutil", "-N", "-d", str(store), "--empty-password"], check=True, capture_output=True)
    subprocess.run(["certutil", "-A", "-d", str(store), "-n", "plant", "-t", "CT,C,C", "-a", "-i",
                    str(archive / "keys" / "plant-ca.pem")], check=True, capture_output=True)
    authority = (archive / "keys" / "plant-ca.pem").read_bytes()
    key = (archive / "keys" / "log.pub").read_text()
    content = paper.read_bytes()
    cases = {"whole": content, "flipped": _flipped(content, 5000), "late": _flipped(content, len(content) - 300),
             "longer": content + b"\n%more\n"}
    for name, case in cases.items():
        path = tmp_path / f"{name}.pdf"
        path.write_bytes(case)
        told = subprocess.run(["pdfsig", "-nssdir", str(store), str(path)], capture_output=True, text=True, check=False)
        valid = all(words in told.stdout for words in ("Signature is Valid", "Certificate is Trusted",
                                                       "Total document signed"))
        try:
            ours = bool(list(check_certificate.check(case, authority, key)))
        except check_certificate.DoubtError:
            ours = False
        assert ours is valid is (name == "whole"), told.stdout


def test_the_checker_imports_nothing_of_ours():
    text = Path(check_certificate.__file__).read_text()
    assert not re.search(r"^\s*(from|import) station", text, re.MULTILINE)
    assert len(text.splitlines()) <= 250


def page_stream(path):
    """Where the content of the first page stands in the file, and how long it is."""
    with pikepdf.open(path) as pdf:
        raw = pdf.pages[0].Contents.read_raw_bytes()
    return path.read_bytes().index(raw), len(raw)


def _flipped(content, place):
    other = bytearray(content)
    other[place] ^= 1
    return bytes(other)


def _rewrite_page(path):
    """Draw something more on the first page, and save the file anew."""
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0]
        page.contents_add(pdf.make_stream(b"BT /F1 8 Tf 20 20 Td (10.36) Tj ET"))
        pdf.save(path, deterministic_id=True)
