"""station.bench.speech: headers, identities and sentinels, and what is never taken for a value."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.bench.identity import Identity
from station.bench.speech import Sentinels, Speech, parse_number
from station.errors import BenchError

HEADED = Speech(headers=True)


@pytest.mark.parametrize(("question", "answer", "plain"), [
    ("MEM:TICK?", ":MEMORY:TICK 1E-5", "1E-5"),
    ("TICK?", "TICK 1E-5", "1E-5"),
    ("TICK?", "TICK=1E-5", "1E-5"),
    ("TICK?", ":TICK over current", "over current"),
    ("IN1:STEP?", ":INPUT1:STEP 2", "2"),
    ("SELECT A\nSTEP?", ":STEP 2", "2"),
    ("TRAC? CH1", ":TRACE 2", "2"),
    ("*IDN?", "EMBEDDED BENCH,X,1,1", "EMBEDDED BENCH,X,1,1"),
    ("*IDN?", "*IDN A,X,1,1", "A,X,1,1"),
    ("*OPC?", "1", "1"),
])
def test_headers_are_stripped(question, answer, plain):
    assert HEADED.plain(question, answer) == plain


@pytest.mark.parametrize("answer", ["1E-5", "", ":ZERO 1E-5", "9.9E37", ":TICK"])
def test_an_answer_without_the_header_of_its_question_is_none(answer):
    assert HEADED.plain("MEM:TICK?", answer) is None


def test_without_headers_nothing_is_stripped():
    assert Speech().plain("TRIP?", "over current") == "over current"


def test_lines_end_as_the_dialect_says():
    assert Speech(line_end=b"\r\n").framed("GO") == b"GO\r\n"


def test_identity_by_named_groups():
    speech = Speech(identity=re.compile(r"(?P<model>\w+) of (?P<maker>[^,]+), no (?P<serial>\d+)"))
    told = speech.identity_in("Sampler of Ostrel Works, no 42", "here")
    assert told == Identity("Ostrel Works", "Sampler", "42", "0")


def test_identity_without_groups_has_four_fields():
    speech = Speech(identity=re.compile("OSTREL,.*"))
    assert speech.identity_in("OSTREL,S9,42,c", "here") == Identity("OSTREL", "S9", "42", "c")


def test_identity_of_another_make_is_refused():
    with pytest.raises(BenchError, match="another make"):
        Speech(identity=re.compile("OSTREL,.*")).identity_in("VARNHOLT,OSTREL,1,1", "here")


SENTINELS = Sentinels(over=("OL", ">*", "9999"), under=("-OL",), invalid=("----", "-1"))


@pytest.mark.parametrize("answer", ["OL", ">", ">99.9 GOHM", "9999", "+9.999E3", "9999.0", "9.9E37", "+9.9E+37",
                                    "9.99999999E37", "199.999E99"])
def test_over_range(answer):
    assert parse_number(answer, SENTINELS) == math.inf


@pytest.mark.parametrize("answer", ["-OL", "-9.9E37"])
def test_under_range(answer):
    assert parse_number(answer, SENTINELS) == -math.inf


@pytest.mark.parametrize("answer", ["----", "-1.0", "9.91E37", "NaN"])
def test_no_value(answer):
    assert math.isnan(parse_number(answer, SENTINELS))


@pytest.mark.parametrize("answer", ["", "OVER", "ol", "--", "1,2", "1 V"])
def test_no_number(answer):
    assert parse_number(answer, SENTINELS) is None


@given(st.floats(-9e37, 9e37))
def test_every_other_number_is_itself(number):
    assert parse_number(repr(number)) == number
