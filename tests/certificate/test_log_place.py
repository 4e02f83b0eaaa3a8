"""What a certificate says of its place in the log, read back by a program that is not ours."""

import subprocess
from base64 import b32decode
from io import BytesIO

import pytest
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from station.certificate.log_place import SHORT, LogPlace, log_place
from station.certificate.qr_code import draw_code
from station.certificate.render import render_certificate
from station.certificate.summary import _CODE
from station.record.merkle import leaf_hash
from station.record.record import canonical

OFFICE = 150        # dots per inch, of a poor scan


def _read(pdf, folder, dots=OFFICE):
    """Return what a code reader finds on the first page."""
    (folder / "page.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(dots), "-f", "1", "-l", "1", "-gray", "-png", "-singlefile",
                    str(folder / "page.pdf"), str(folder / "page")], check=True)
    return subprocess.run(["zbarimg", "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", str(folder / "page.png")],
                          capture_output=True, text=True, check=True).stdout.strip()


@pytest.mark.parametrize("dots", [OFFICE, 300])
def test_the_code_names_log_entry_and_leaf(full_record, full_pdf, tmp_path, dots):
    origin, seq, letters = _read(full_pdf, tmp_path, dots).rsplit("/", 2)
    assert (origin, int(seq)) == (full_record["log"]["origin"], full_record["log"]["seq"])
    assert b32decode(letters + "====") == leaf_hash(canonical(full_record))


@pytest.mark.parametrize("origin", ["eol-1", "EOL-1", "plant.invalid/hall 2/Prüfplatz-ü", "o" * 80])
def test_any_origin_comes_back_as_it_is(origin, tmp_path):
    place = LogPlace(origin, 2**40, bytes(range(32)))
    stream = BytesIO()
    canvas = Canvas(stream, invariant=1)
    draw_code(canvas, *place.parts, 100, 600, _CODE)
    canvas.save()
    assert _read(stream.getvalue(), tmp_path, 300) == "".join(place.parts)


def test_a_short_origin_keeps_the_modules_large():
    canvas = Canvas(BytesIO())
    place = LogPlace("eol-1", 999_999, bytes(32))
    packed = draw_code(canvas, *place.parts, 0, 0, _CODE)
    assert packed > draw_code(canvas, "".join(place.parts)[:-1], "A", 0, 0, _CODE)
    assert packed / 72 * 25.4 > 0.45        # mm


def test_every_page_says_the_place_in_short(full_record, full_pdf):
    place = log_place(full_record, leaf_hash(canonical(full_record)))
    for page in PdfReader(BytesIO(full_pdf)).pages:
        words = " ".join(page.extract_text().split())
        assert f"log l2-eol1, entry 1234567, leaf {place.letters[:4]} {place.letters[4:8]}" in words
        assert place.letters[:SHORT] in words.replace(" ", "")


def test_a_record_from_before_the_log_has_neither_code_nor_place(record, tmp_path):
    assert log_place(record, bytes(32)) is None
    pdf = render_certificate(record)
    assert "leaf" not in PdfReader(BytesIO(pdf)).pages[0].extract_text()
    with pytest.raises(subprocess.CalledProcessError):      # the reader's way of saying that it found none
        _read(pdf, tmp_path)
