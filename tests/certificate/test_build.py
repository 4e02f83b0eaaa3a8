"""station.certificate.build and archival_form: what is inside a certificate, read by programs that are not ours."""

import json
import os
import re
import subprocess
import sys
from dataclasses import asdict, replace
from hashlib import md5, sha256
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from pypdf import PdfReader

from station.certificate.build import build_certificate
from station.certificate.render import render_certificate
from station.errors import EvidenceError
from station.record.merkle import leaf_hash

JARS = ("preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "commons-io", "bcprov", "bcmail", "bcpkix",
        "bcutil", "jaxb-api")
# Part 1 of PDF/A knows no attached files and no part 3. Nothing else may be wrong.
EXPECTED = {
    "1.4.7 : Trailer Syntax error, EmbeddedFile entry is present in the Names dictionary",
    "1.2.9 : Body Syntax error, EmbeddedFile entry is present in a FileSpecification dictionary",
    "7.11.2 : Error on MetaData, part must be 1",
}
# The field of a signature has no size and so no appearance, as parts 2 and 3 allow (from memory) and part 1 does not.
BARE_FIELD = "5.3.1 : Invalid field value in an annotation definition, widget annotation lacks an appearance dictionary"
SIGNED = {BARE_FIELD, f"{BARE_FIELD} on page 1"}
PROGRAM = """
import json, sys
from hashlib import sha256
from station.certificate.build import build_certificate
from station.record.evidence import Evidence
said = json.load(sys.stdin)
said |= {key: bytes.fromhex(said[key]) for key in ("record_bytes", "leaf")}
said["inclusion"] = tuple(bytes.fromhex(one) for one in said["inclusion"])
print(sha256(build_certificate(Evidence(**said))).hexdigest())
"""


def _preflight(pdf, folder):
    """Return the remarks of Apache PDFBox's validator of PDF/A-1b; an empty set when it finds the file valid."""
    path = folder / "looked-at.pdf"
    path.write_bytes(pdf)
    jars = ":".join(f"/usr/share/java/{jar}.jar" for jar in JARS)
    said = subprocess.run(["java", "-cp", jars, "org.apache.pdfbox.preflight.Validator_A1b", str(path)],
                          capture_output=True, text=True, check=False).stdout.strip().splitlines()
    assert said, "the validator said nothing"
    if said[0].endswith("is a valid PDF/A-1b file"):
        return set()
    assert "is not a valid PDF/A-1b file" in said[0]
    return set(said[1:])


def _twin(pdf):
    """Return the same file without what part 1 of PDF/A does not know."""
    with pikepdf.open(BytesIO(pdf)) as twin:
        del twin.Root.AF, twin.Root.Names
        twin.Root.Metadata.write(twin.Root.Metadata.read_bytes().replace(b"<pdfaid:part>3<", b"<pdfaid:part>1<"))
        out = BytesIO()
        twin.save(out, force_version="1.4", object_stream_mode=pikepdf.ObjectStreamMode.disable,
                  fix_metadata_version=False)
    return out.getvalue()


@pytest.mark.parametrize(("zone", "seed"), [("Asia/Tokyo", "1"), ("America/Lima", "4242")])
def test_another_process_zone_and_hash_seed_build_the_same_bytes(evidence, built, zone, seed):
    said = asdict(evidence)
    said |= {key: said[key].hex() for key in ("record_bytes", "leaf")}
    said["inclusion"] = [one.hex() for one in said["inclusion"]]
    there = subprocess.run([sys.executable, "-c", PROGRAM], input=json.dumps(said), text=True, check=True,
                           capture_output=True, env={**os.environ, "TZ": zone, "PYTHONHASHSEED": seed}).stdout
    assert there.strip() == sha256(built).hexdigest()


def test_record_and_proof_come_out_byte_for_byte(evidence, built, tmp_path):
    (tmp_path / "certificate.pdf").write_bytes(built)
    subprocess.run(["pdfdetach", "-saveall", "-o", str(tmp_path), str(tmp_path / "certificate.pdf")], check=True)
    record = (tmp_path / "record.json").read_bytes()
    assert record == evidence.record_bytes
    assert leaf_hash(record) == evidence.leaf
    assert (tmp_path / "proof.json").read_bytes() == evidence.as_json()


def test_attached_files_are_associated_data_with_size_and_checksum(evidence, built):
    with pikepdf.open(BytesIO(built)) as pdf:
        specs = {str(spec.UF): spec for spec in pdf.Root.AF}
        assert set(specs) == {"record.json", "proof.json"}
        for spec in specs.values():
            assert spec.AFRelationship == "/Data"
            assert spec.EF.F.Subtype == "/application/json"
        params = specs["record.json"].EF.F.Params
        assert int(params.Size) == len(evidence.record_bytes)
        assert bytes(params.CheckSum) == md5(evidence.record_bytes).digest()


def test_the_pages_are_those_of_the_record(evidence, built):
    bare = render_certificate(json.loads(evidence.record_bytes))
    one, other = (PdfReader(BytesIO(pdf)) for pdf in (bare, built))
    assert [page.get_contents().get_data() for page in one.pages] == [p.get_contents().get_data() for p in other.pages]


def test_title_dates_and_language(built):
    reader = PdfReader(BytesIO(built))
    assert reader.metadata.title == "Motor test certificate L2-EOL1-CP40-0001-1"
    assert reader.metadata.creation_date.isoformat() == "2026-11-25T08:14:41+00:00"
    assert reader.root_object["/Lang"] == "en-GB"
    assert reader.root_object["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert reader.xmp_metadata.dc_title["x-default"] == reader.metadata.title
    packet = reader.root_object["/Metadata"].get_data()
    assert re.findall(rb"<pdfaid:(\w+)>(\w+)<", packet) == [(b"part", b"3"), (b"conformance", b"B")]


def test_qpdf_finds_no_fault(signed, tmp_path):
    (tmp_path / "certificate.pdf").write_bytes(signed)
    said = subprocess.run(["qpdf", "--check", str(tmp_path / "certificate.pdf")], capture_output=True, text=True,
                          check=False)
    assert said.returncode == 0, said.stdout + said.stderr
    assert "No syntax or stream encoding errors found" in said.stdout


def test_only_embedded_fonts(signed, tmp_path):
    (tmp_path / "certificate.pdf").write_bytes(signed)
    fonts = subprocess.run(["pdffonts", str(tmp_path / "certificate.pdf")], capture_output=True, text=True,
                           check=True).stdout.splitlines()[2:]
    assert len(fonts) >= 2
    assert all("DejaVuSansCondensed" in line and line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)


def test_what_it_shares_with_part_1_is_valid(built, tmp_path):
    assert _preflight(_twin(built), tmp_path) == set()


def test_the_validator_would_tell_a_fault(built, tmp_path):
    broken = _twin(built).replace(b"/GTS_PDFA1", b"/GTS_PDFX1")
    assert any(remark.startswith("2.1") or remark.startswith("2.4") for remark in _preflight(broken, tmp_path))


def test_the_file_itself_differs_from_part_1_in_nothing_else(built, signed, tmp_path):
    assert _preflight(built, tmp_path) == EXPECTED
    assert _preflight(signed, tmp_path) == EXPECTED | SIGNED


def test_a_record_of_another_leaf_is_refused(evidence):
    other = evidence.record_bytes.replace(b'"PASS"', b'"FAIL"', 1)
    with pytest.raises(EvidenceError, match="not the one in the log"):
        build_certificate(replace(evidence, record_bytes=other))


def test_a_record_without_its_time_is_refused(evidence):
    record = json.loads(evidence.record_bytes) | {"ended": "yesterday"}
    content = json.dumps(record).encode()
    with pytest.raises(EvidenceError, match="when it ended"):
        build_certificate(replace(evidence, record_bytes=content, leaf=leaf_hash(content)))


def test_signs_of_mark_up_in_a_serial_do_no_harm(evidence, tmp_path):
    record = json.loads(evidence.record_bytes) | {"serial": "CP40-<&>\"'ü)("}
    content = json.dumps(record).encode()
    pdf = build_certificate(replace(evidence, record_bytes=content, leaf=leaf_hash(content)))
    assert record["serial"] in PdfReader(BytesIO(pdf)).xmp_metadata.dc_title["x-default"]
    assert _preflight(pdf, tmp_path) == EXPECTED


def test_the_profile_is_the_one_that_its_program_makes_and_is_srgb():
    from PIL import Image, ImageCms

    from station.certificate.archival_form import profile

    made = subprocess.run([sys.executable, str(Path(__file__).with_name("srgb_profile.py"))], capture_output=True,
                          check=True).stdout
    assert made == profile()
    ours = ImageCms.ImageCmsProfile(BytesIO(profile()))
    assert ours.profile.version == pytest.approx(2.1)
    levels = Image.frombytes("RGB", (256, 3), bytes(range(256)) * 9)
    through = ImageCms.profileToProfile(levels, ours, ImageCms.createProfile("sRGB"), renderingIntent=1)
    assert max(abs(a - b) for a, b in zip(levels.tobytes(), through.tobytes(), strict=True)) <= 1
