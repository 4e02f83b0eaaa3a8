"""The certificate as a reader and other people's programs find it."""

import json
import os
import subprocess
import sys
from hashlib import sha256
from io import BytesIO

import pytest
from pypdf import PdfReader

from station.certificate.render import render_certificate
from station.errors import EvidenceError

PROGRAM = """
import json, sys
from hashlib import sha256
from station.certificate.render import render_certificate
print(sha256(render_certificate(json.load(sys.stdin))).hexdigest())
"""


def _poppler(program, record, tmp_path, *words):
    path = tmp_path / "certificate.pdf"
    path.write_bytes(render_certificate(record))
    return subprocess.run([program, *words, str(path), *(["-"] if program == "pdftotext" else [])],
                          capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize(("zone", "seed"), [("Asia/Tokyo", "1"), ("America/Lima", "4242")])
def test_another_process_zone_and_hash_seed_give_the_same_bytes(record, zone, seed):
    there = subprocess.run([sys.executable, "-c", PROGRAM], input=json.dumps(record), text=True, check=True,
                           capture_output=True, env={**os.environ, "TZ": zone, "PYTHONHASHSEED": seed}).stdout
    assert there.strip() == sha256(render_certificate(record)).hexdigest()


def test_rendering_leaves_the_record_alone(record):
    before = json.dumps(record)
    render_certificate(record)
    assert json.dumps(record) == before


def test_every_font_is_embedded(record, tmp_path):
    fonts = _poppler("pdffonts", record, tmp_path).splitlines()[2:]
    assert len(fonts) >= 2
    assert all("DejaVuSansCondensed" in line and line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)


def test_pages_are_numbered_and_the_end_is_marked(record, pages):
    texts = pages(record)
    assert all(f"page {n} of {len(texts)}" in text for n, text in enumerate(texts, 1))
    ends = ["end of certificate L2-EOL1-CP40-0001-1" in text for text in texts]
    assert ends == [False] * (len(texts) - 1) + [True]


def test_another_reader_finds_the_evidence(record, tmp_path):
    text = " ".join(_poppler("pdftotext", record, tmp_path, "-raw").split())
    for words in ("Werk Süd, Halle 4, Prüfplatz 1", "CAL-dri", "2027-01-10", "3536 r/min", "500 V", "3c3c",
                  "1.65 standard uncertainties", "1 of 2", "not a safety function", "Student"):
        assert words in text


def test_page_is_a4(record):
    box = PdfReader(BytesIO(render_certificate(record))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((595.28, 841.89), abs=0.01)


def test_failing_row_stands_first_on_the_first_page(sample, record, pages):
    first = pages(sample.failed(record, "hall_placement.b", 5.2, "FAIL"))[0]
    table = first[first.index("Judged: each capture"):]
    assert table.index("hall_placement.b") < table.index("back_emf_constant_peak")
    assert "FAIL" in first
    assert "PASS" not in first[:first.index("Judged")]


def test_value_that_is_missing_has_no_result_and_says_why(sample, record, pages):
    text = "\n".join(pages(sample.failed(record, "thd.bc", None, "NO RESULT")))
    assert "no value NO RESULT" in " ".join(text.split())
    assert "not measured" in text
    assert "verdict: NO RESULT" in text


def test_simulated_bench_is_marked_on_every_page(record, pages):
    mark = "NO MOTOR WAS TESTED"
    assert not any(mark in text for text in pages(record))
    simulated = record | {"bench": record["bench"] | {"simulated": True, "pace": 10.0}}
    assert all(mark in text and "x10" in text for text in pages(simulated))


def test_retest_and_draft_are_marked(record, pages):
    draft = record["limit_file"] | {"released_by": None, "released_on": None}
    first = pages(record | {"run": 2, "limit_file": draft})[0]
    assert "RETEST" in first
    assert "DRAFT" in first


def test_refused_capture_and_undone_step_are_told(record, pages):
    captures = [record["captures"][0] | {"refused": {"code": "clipped", "text": "Channel v_ab clipped."}}]
    steps = [{"name": "insulation", "kind": "insulation", "outcome": "not run", "note": "stopped before"}]
    text = "\n".join(pages(record | {"captures": captures, "steps": steps, "verdict": "NO RESULT"}))
    assert "Channel v_ab clipped." in text
    assert "stopped before" in text


def test_long_and_odd_texts_stay_inside_the_page(record, pages):
    long = "Größenänderung der Prüfstückträgerhalterung " * 40
    changed = record | {"reason": long, "operator": "x" * 300, "findings": [{"code": "a", "text": long}] * 9}
    text = " ".join(" ".join(pages(changed)).split())
    assert text.count("Prüfstückträgerhalterung") == 400
    assert text.count("x") >= 300  # every letter, over as many lines as it takes


@pytest.mark.parametrize("captures", [1, 2, 5, 9])
def test_any_number_of_captures_is_printed(record, pages, captures):
    labels = [f"forward {100 * n}" for n in range(1, captures + 1)]
    first = [j for j in record["judged"] if j["label"] == "forward 750"]
    judged = [j | {"label": label} for label in labels for j in first]
    shown = "\n".join(pages(record | {"judged": judged, "measurements": [], "captures": []}))
    assert all(label in shown for label in labels)
    assert shown.count("PASS") >= len(judged)


def test_nearly_empty_record_has_no_result(pages):
    first = pages({"serial": "CP40-0009", "verdict": None})[0]
    assert "NO RESULT" in first
    assert "not recorded" in first
    assert "PASS" not in first


@pytest.mark.parametrize("change", [
    pytest.param({"result": "FAIL"}, id="a failing row"),
    pytest.param({"result": "NO RESULT"}, id="a row without result"),
    pytest.param({"value": None}, id="no value"),
    pytest.param({"value": float("nan")}, id="not a number"),
    pytest.param({"value": 1e6}, id="beyond its limits"),
    pytest.param({"lower": None, "upper": None, "acceptance_lower": None, "acceptance_upper": None},
                 id="no limit"),
])
def test_pass_that_its_rows_do_not_bear_out_is_never_printed(record, change):
    judged = [record["judged"][0] | change, *record["judged"][1:]]
    with pytest.raises(EvidenceError, match="contradict"):
        render_certificate(record | {"judged": judged})


def test_pass_without_any_row_is_never_printed(record):
    with pytest.raises(EvidenceError, match="no judged row"):
        render_certificate(record | {"judged": []})


def test_record_that_is_no_json_is_refused(record):
    with pytest.raises(EvidenceError, match="canonical JSON"):
        render_certificate(record | {"conditions": {"ambient_temperature_degC": float("nan")}})


EXTENSION = {"person": "M. Odera", "reason": "the laboratory is shut until October", "until": "2027-09-30"}


def _with_extensions(record, extension, roles):
    instruments = [i | ({"extension": extension} if n < roles else {})
                   for n, i in enumerate(record["bench"]["instruments"])]
    return record | {"bench": record["bench"] | {"instruments": instruments}}


def test_an_extended_calibration_is_printed_and_costs_no_page(full_record, pages):
    assert "extended" not in "\n".join(pages(full_record))
    covered = {"reference_check": {"check": 17, "started": "2026-11-25T06:02:11.000Z",
                                   "ended": "2026-11-25T06:03:40.000Z"}}
    texts = pages(_with_extensions(full_record | covered, EXTENSION, 2))
    words = " ".join(" ".join(texts).split())
    assert len(texts) == len(pages(full_record))
    due = full_record["bench"]["instruments"][0]["due"]
    assert f"due {due}, extended to 2027-09-30 by M. Odera: the laboratory is shut until October" in words
    assert words.count("extended to") == 2
    assert "Instruments, proved by reference check 17 of 2026-11-25T06:03:40.000Z" in words


RULES_OF_LIMITS = (
    "A value conforms when the probability that the quantity lies within its tolerance limits is at least 95 %, given "
    "value and uncertainty. By exception: back_emf_constant_peak, back_emf_constant_fundamental, hall_placement: drawn "
    "in by 2 u, no result above u = 0.3 deg; thd, pole_spread: drawn in for 2 % false accepts; hall_hysteresis, "
    "winding_resistance, winding_resistance_spread, drag_torque: uncertainty not deducted.")


def test_rules_of_single_limits_are_printed_whole_and_cost_no_page(full_record, pages):
    texts = pages(full_record | {"decision": full_record["decision"] | {"sentence": RULES_OF_LIMITS}})
    assert RULES_OF_LIMITS in " ".join(texts[0].split())
    assert len(texts) == len(pages(full_record))


def test_a_stitched_capture_says_so_with_every_part(full_record, pages):
    assert "stitched" not in "\n".join(pages(full_record)).lower()
    parts = [c | {"part": [number, 2], "sha256": f"{number}{index}" * 32}
             for index, c in enumerate(full_record["captures"]) for number in (1, 2)]
    texts = pages(full_record | {"captures": parts})
    words = " ".join(" ".join(texts).split())
    assert words.count("(stitched, 2 captures)") >= 1
    assert "Stitched, 2 captures: lines and Hall sensors were not captured together." in words
    assert words.count("part 1 of 2") == words.count("part 2 of 2") == len(full_record["captures"])
    assert len(texts) <= len(pages(full_record)) + 1


def test_why_a_stitched_capture_is_refused_is_told_once(record, pages):
    refused = {"code": "stitch_speed", "text": "Between the two captures the speed changed."}
    first, *rest = record["captures"]
    parts = [first | {"part": [number, 2], "refused": refused} for number in (1, 2)]
    words = " ".join(" ".join(pages(record | {"captures": [*parts, *rest]})).split())
    assert words.count("Between the two captures the speed changed.") == 1


def test_the_dialect_of_each_instrument_is_printed_with_the_beginning_of_its_hash(full_record, pages):
    assert "dialects:" not in "\n".join(pages(full_record))
    rows = [row | {"dialect": f"embedded_{row['role']}.toml", "dialect_sha256": f"{n}b0de5" + "7" * 58}
            for n, row in enumerate(full_record["bench"]["instruments"])]
    texts = pages(full_record | {"bench": full_record["bench"] | {"instruments": rows}})
    words = " ".join(" ".join(texts).split())
    for n, row in enumerate(rows):
        assert f"embedded_{row['role']} {n}b0de577" in words
    assert len(texts) == len(pages(full_record))


def test_a_dialect_without_a_hash_says_so(full_record, pages):
    rows = [row | {"dialect": "plain.toml"} for row in full_record["bench"]["instruments"][:2]]
    words = " ".join(" ".join(pages(full_record | {"bench": full_record["bench"] | {"instruments": rows}})).split())
    assert "dialects: drive plain not recorded, digitizer plain not recorded" in words


def _printed(record, pages):
    texts = pages(record)
    return " ".join(" ".join(texts).split()), len(texts)


def test_software_is_printed_with_the_beginning_of_each_hash(record, pages):
    software = record["software"] | {"station_sha256": "c0ffee15" + "7" * 56,
                                          "renderer": {"reportlab": "5.1.0", "some.ttf": "feed5eed" + "3" * 56}}
    words, _ = _printed(record | {"software": software}, pages)
    assert "station 0.1.0, station c0ffee15; this certificate: reportlab 5.1.0, some.ttf feed5eed" in words


def test_maker_and_order_are_printed(full_record, pages):
    plain, pages_before = _printed(full_record, pages)
    assert "made for" not in plain
    words, number = _printed(full_record | {
        "maker": {"name": "Varnholt Works", "address": "1 Mill Lane", "line": "hall 2"},
        "order": {"customer": "Pellworm Boats", "number": "4711", "part": "CP-40", "part_revision": "B",
                  "drawing": "D-9", "drawing_revision": "", "lot": "26-48", "sampling": "every motor"}}, pages)
    assert "maker Varnholt Works, 1 Mill Lane, hall 2" in words
    assert "Pellworm Boats, order 4711, part CP-40, revision B, drawing D-9, lot 26-48, tested: every motor" in words
    assert number == pages_before


def test_a_retest_names_the_earlier_runs_and_who_allowed_it(record, pages):
    attempts = [{"run": 1, "started": "2026-11-25T08:00:00.000Z", "verdict": "FAIL", "void": False, "leaf": "0a" * 32},
                {"run": 2, "started": "2026-11-25T08:05:00.000Z", "verdict": "FAIL", "void": True, "leaf": "0b" * 32}]
    words, _ = _printed(record | {"run": 3, "attempts": attempts, "further_run": {
        "person": "M. Odera", "reason": "fixture mended"}}, pages)
    assert "3 of 2 — RETEST, earlier: 1 FAIL, 2 FAIL (void); allowed by M. Odera: fixture mended" in words


def test_a_flagged_clock_is_told(record, pages):
    flags = [{"code": "utc_backwards", "seconds": -3600.0, "text": "The clock stands 3600 s before the start."}]
    words, _ = _printed(record | {"clock": {"boot_id": "", "flags": flags}}, pages)
    assert "DOUBTFUL TIME: The clock stands 3600 s before the start." in words


def test_the_place_of_the_proof_is_told(full_record, record, pages):
    words, _ = _printed(full_record, pages)
    assert "Attached to this file: the record, and the proof that it is entry 1234567 of log l2-eol1." in words
    assert "Attached" not in _printed(record, pages)[0]


def test_a_generated_run_is_marked_on_every_page_and_says_how_it_was_made(record, pages):
    generated = record | {"bench": record["bench"] | {"simulated": True, "generated": "drawn from a seed"}}
    texts = [" ".join(text.split()) for text in pages(generated)]
    assert all("GENERATED" in text and "NO MOTOR WAS TESTED" in text for text in texts)
    assert any("Generated, not tested: drawn from a seed." in text for text in texts)
