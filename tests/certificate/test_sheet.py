"""station.certificate.sheet: an ordinary record takes two pages on which nothing is lost, tiny or on top of another."""

from io import BytesIO

from pypdf import PdfReader

from station.certificate.render import render_certificate
from station.certificate.sheet import LEFT, RIGHT
from station.record.record import canonical, sha256_of

SMALLEST = 5.5           # points; below it print on paper is no longer read with ease
MARGIN = 20.0            # points above and below in which nothing stands


def test_ordinary_record_takes_two_pages(full_record, full_pdf):
    texts = [page.extract_text() for page in PdfReader(BytesIO(full_pdf)).pages]
    assert len(texts) == 2
    assert all(f"page {n} of 2" in text for n, text in enumerate(texts, 1))
    assert sha256_of(canonical(full_record)) in texts[1]
    assert texts[0].count("FAIL") >= sum(j["result"] == "FAIL" for j in full_record["judged"])


def test_no_type_is_smaller_than_can_be_read(full_pdf):
    sizes = [float(operands[1]) for page in PdfReader(BytesIO(full_pdf)).pages
             for operands, operator in page.get_contents().operations if operator == b"Tf"]
    assert len(sizes) > 1000
    assert min(sizes) >= SMALLEST


def test_nothing_stands_in_the_margins(full_words):
    assert min(word.left for word in full_words) >= LEFT - 0.1
    assert max(word.right for word in full_words) <= RIGHT + 0.1
    assert min(word.top for word in full_words) >= MARGIN
    assert max(word.bottom for word in full_words) <= 841.89 - MARGIN


def test_no_word_lies_on_another(full_words, printed):
    assert printed.overlapping(full_words) == []


def test_large_record_turns_pages_and_repeats_the_heads(record, printed, tmp_path):
    labels = [f"forward {100 * n}" for n in range(1, 13)]
    changes = {key: [entry | {"label": label} for entry in record[key] if entry["label"] == "forward 750"
                     for label in labels] for key in ("judged", "measurements", "captures")}
    pdf = render_certificate(record | changes)
    pages = PdfReader(BytesIO(pdf)).pages
    assert len(pages) > 2
    for number, page in enumerate(pages, 1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "characteristic" in text or "Statements" in text
    words = printed.words_of(pdf, tmp_path)
    assert max(word.bottom for word in words) <= 841.89 - MARGIN
    assert printed.overlapping(words) == []
    assert sum(word.text == "harmonic_25" for word in words) == 3  # four captures side by side, three times
