"""station.certificate.signing and pades: signed certificates as poppler and NSS, which nobody here wrote, see them."""

import re
import subprocess
from datetime import UTC, datetime, timedelta, timezone
from io import BytesIO

import numpy as np
import pytest
from pypdf import PdfReader, PdfWriter

from station.certificate.signing import Signer, sign_certificate
from station.errors import EvidenceError

GOOD = ("Signature is Valid.", "Certificate is Trusted.", "Total document signed")


def _ranges(pdf):
    """Return (start, length) of the two parts that the signature covers."""
    a, b, c, d = map(int, re.findall(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)", pdf)[-1])
    return (a, b), (c, d)


def test_valid_trusted_and_whole(signed, pdfsig):
    said = pdfsig(signed)
    assert all(words in said for words in GOOD), said
    assert "CN=Station EOL-1,O=Varnholt Works" in said
    assert "ETSI.CAdES.detached" in said
    assert "SHA-256" in said


def test_the_unsigned_file_is_the_beginning(built, signed):
    assert signed.startswith(built)
    assert len(signed) - len(built) < 10_000


def test_the_signature_covers_all_but_itself(signed):
    (first, length), (second, rest) = _ranges(signed)
    assert first == 0
    assert second + rest == len(signed)
    gap = signed[length:second]
    assert re.fullmatch(rb"<[0-9A-Fa-f]+>", gap)


def test_any_byte_changed_is_told(signed, pdfsig):
    (_, length), (second, rest) = _ranges(signed)
    rng = np.random.default_rng(5)
    places = [*rng.integers(0, length, 12), *rng.integers(second, second + rest, 6)]
    for place in map(int, places):
        changed = bytearray(signed)
        changed[place] ^= 1 << int(rng.integers(8))
        said = pdfsig(bytes(changed))
        assert "Signature is Valid" not in said or "Total document signed" not in said, place


def test_a_changed_page_is_a_digest_that_does_not_match(signed, pdfsig):
    place = signed.index(b"stream") + 40
    said = pdfsig(signed[:place] + bytes([signed[place] ^ 1]) + signed[place + 1:])
    assert "Digest Mismatch" in said
    assert "Signature is Valid" not in said


def test_what_is_added_later_is_told(signed, pdfsig):
    later, out = PdfWriter(BytesIO(signed), incremental=True), BytesIO()
    later.add_metadata({"/Subject": "Test result of one motor: PASS, honestly"})
    later.write(out)
    assert out.getvalue().startswith(signed)
    assert "Not total document signed" in pdfsig(out.getvalue())


def test_nobody_else_is_trusted(signed, pdfsig, tmp_path):
    subprocess.run(["certutil", "-N", "-d", str(tmp_path), "--empty-password"], check=True)
    said = pdfsig(signed, tmp_path)
    assert "Signature is Valid" in said
    assert "Certificate is Trusted" not in said


@pytest.mark.parametrize("zone", [UTC, timezone(timedelta(hours=2))])
def test_the_time_of_signing_is_the_clock_of_the_station(built, plant, clock_after, zone):
    clock = clock_after(timedelta(days=100), zone)
    reader = PdfReader(BytesIO(sign_certificate(built, Signer.load(plant / "keys", clock))))
    digits, offset = re.fullmatch(r"D:(\d{14})(.*)", str(reader.get_fields()["StationSignature"]["/V"]["/M"])).groups()
    written = datetime.strptime(digits + (offset.replace("'", "").replace("Z", "") or "+0000"), "%Y%m%d%H%M%S%z")
    assert written == clock.utc()
    assert reader.metadata.modification_date == reader.metadata.creation_date   # still the end of the test


def test_nothing_but_the_signature_is_added(built, signed):
    """Titles, dates, version and pages stay those of the unsigned file."""
    before, after = PdfReader(BytesIO(built)), PdfReader(BytesIO(signed))
    assert before.metadata == after.metadata
    assert before.root_object["/Metadata"].get_data() == after.root_object["/Metadata"].get_data()
    assert "/Version" not in after.root_object
    assert [p.get_contents().get_data() for p in before.pages] == [p.get_contents().get_data() for p in after.pages]
    assert [list(annotation.get_object()["/Rect"]) for annotation in after.pages[0]["/Annots"]] == [[0, 0, 0, 0]]


@pytest.mark.parametrize("days", [-2, 3 * 366])
def test_outside_its_time_a_key_signs_nothing(built, plant, clock_after, days):
    clock = clock_after(timedelta(days=days))
    with pytest.raises(EvidenceError, match="may not sign now") as caught:
        sign_certificate(built, Signer.load(plant / "keys", clock))
    assert "station keys renew" in caught.value.remedy
    assert f"{clock.utc():%Y-%m-%d}" in caught.value.got


def test_what_is_no_pdf_or_signed_already_is_refused(signed, signer):
    for content in (b"no PDF at all", signed):
        with pytest.raises(EvidenceError, match="cannot be signed"):
            sign_certificate(content, signer)
