"""What keeps a motor from its test or its result is told in every language; every code that exists has words."""

import re
from datetime import date
from pathlib import Path

import pytest

import station
from station import errors
from station.bench.calibration import Calibration, Extension
from station.errors import BenchNotFitError, NoReplyError, StationError, StoppedError
from station.judgement.cause import Cause
from station.record.record import INTERRUPTED
from station.screens.refusal import Refusal, has_words, reason_of, refusal_of
from station.screens.standing import out_of_calibration
from station.screens.words import languages
from station.sequence.befallen import INTERRUPTED as BROKEN_OFF
from station.sequence.befallen import UNSAFE, cause_of
from station.sequence.reference_due import SENTENCES

ROOT = Path(station.__file__).parent
JUDGED = ("capture_refused", "nothing_judged", "too_uncertain", "value_missing")


def source(*rooms):
    return "\n".join(path.read_text(encoding="utf-8") for room in rooms for path in sorted((ROOT / room).rglob("*.py")))


def classes(kind=StationError):
    return {kind, *(found for sub in kind.__subclasses__() for found in classes(sub))}


def test_every_code_of_an_error_has_words():
    said = set(re.findall(r'\bcode="([a-z_]+)"', source("bench", "sequence", "record", "screens")))
    assert {"guard_opened", "storage", "no_start", "given_up"} <= said
    own = {kind.code for kind in classes() if kind.__module__ == errors.__name__} - {"trouble"}
    assert {"no_reply", "bench_error"} <= own
    for code in (*said, *own, *JUDGED, "too_slow", UNSAFE.code, BROKEN_OFF.code):
        assert has_words(code), code
    assert not has_words("trouble")


@pytest.mark.parametrize("code", languages())
def test_every_refused_capture_has_words(code):
    found = set(re.findall(r'Refusal\(\s*"([a-z_]+)"', source("analysis"))) | {"line_reversed", "lines_do_not_close"}
    assert len(found) > 20
    words, other = languages()[code], languages()[code].text("capture.other")
    for refused in found:
        assert Refusal("capture_refused", (("at", refused),)).what(words) != other, refused
    assert Refusal("capture_refused", (("at", "made_up"),)).what(words) == other


@pytest.mark.parametrize("code", languages())
def test_each_instrument_is_named_in_the_language(code):
    words = languages()[code]
    for where, role in (("ohmmeter at TCPIP::x", "ohmmeter"), ("insulation tester", "insulation"),
                        ("sensor supply", "supply"), ("drive (stop) at x", "drive"),
                        ("sensor_digitizer", "sensor_digitizer")):
        told = refusal_of(NoReplyError("no reply", where=where, expected="", got="", remedy=""))
        assert told.what(words) == words.text("refused.no_reply.what", at=words.text(f"instrument.{role}"))
        assert "{" not in told.what(words) + told.do(words)


def test_what_befell_a_run_becomes_its_cause():
    opened = StoppedError("guard opened", where="guard", expected="", got="", remedy="", code="guard_opened")
    assert cause_of(opened) == Cause("guard_opened", "guard")
    assert cause_of(BenchNotFitError("x", where="bench.toml", expected="", got="", remedy="")) == Cause(
        "bench_not_fit", "bench.toml")
    assert cause_of(KeyboardInterrupt()) == BROKEN_OFF
    assert reason_of({"reason": INTERRUPTED}).key == "interrupted"
    assert reason_of({"reason": "from before there were codes"}) is None


@pytest.mark.parametrize("code", languages())
def test_why_a_reference_check_is_due_is_told_in_the_language(code):
    words, given = languages()[code], {"kind": "VB-24", "check": "7", "result": "BAD", "at": "06:00", "hours": "12",
                                       "serial": "VB24-0001"}
    for due, english in SENTENCES.items():
        told = Refusal("reference_due", (*given.items(), ("motor_type", "CP-40"), ("due", due))).what(words)
        assert "CP-40" in told
        assert words.text(f"due.{due}", **given) in told
        # what is given is told in each language
        fields = {name for name in given if f"{{{name}}}" in english} - {"kind"}
        assert all(f"{{{name}}}" in words.texts[f"due.{due}"] for name in fields), due


@pytest.mark.parametrize("code", languages())
def test_a_calibration_that_does_not_hold_is_told_in_full(code):
    words, day, later = languages()[code], date(2026, 11, 1), date(2026, 12, 1)
    extension = Extension("R. Fink", "awaiting transport", date(2026, 11, 10))
    for calibration, today, said in (
            (Calibration("K-17", later, later), day, ["K-17", "2026-12-01"]),
            (Calibration("K-17", day, day), later, ["K-17", "2026-11-01"]),
            (Calibration("K-17", day, day, extension), later, ["K-17", "2026-11-01", "R. Fink", "2026-11-10"])):
        fault = calibration.fault(today)
        assert all(part in str(fault) for part in said)
        text = out_of_calibration(fault, "ohmmeter").what(words)
        assert all(part in text for part in [*said, words.text("instrument.ohmmeter")])
    assert calibration.fault(date(2026, 11, 10)) is None
