"""Numbers with suffixes, booleans, words, channel lists and answers."""

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_value import (
    Span,
    answer_block,
    answer_number,
    read_boolean,
    read_channels,
    read_number,
    read_word,
)


@pytest.mark.parametrize(("text", "unit", "number"), [
    ("5", "V", 5.0), ("-.5", "", -0.5), ("+1.e3", "", 1000.0), ("1 E -3", "", 1e-3), ("5V", "V", 5.0),
    ("5 mv", "V", 5e-3), ("2 MAV", "V", 2e6), ("2KOHM", "OHM", 2e3), ("2 MOHM", "OHM", 2e6), ("4US", "S", 4e-6),
    ("#H1F", "", 31.0), ("#Q17", "", 15.0), ("#B101", "", 5.0), ("3MA", "A", 3e-3),
])
def test_numbers(text, unit, number):
    assert read_number(text, unit) == pytest.approx(number)


@pytest.mark.parametrize(("text", "unit", "code"), [
    ("ABC", "V", -104), ('"5"', "V", -104), ("1.2.3", "V", -121), ("5 A", "V", -131), ("5 V", "", -138),
    ("5 QV", "V", -131), ("1E999", "", -222), ("#HZZ", "", -121),
])
def test_what_is_no_such_number(text, unit, code):
    with pytest.raises(ScpiError) as caught:
        read_number(text, unit)
    assert caught.value.code == code


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_finite_double_is_read_as_python_writes_it(number):
    assert read_number(repr(number)) == number


@given(st.text(alphabet="0123456789.eE+-#HQBvVmMa \"", max_size=30))
def test_any_text_is_a_finite_number_or_an_error_of_its_own(text):
    try:
        number = read_number(text, "V")
    except ScpiError:
        return
    assert abs(number) < inf


def test_a_span_knows_its_bounds():
    span = Span("V", 0.0, 30.0, 5.0)
    assert [span.read(word) for word in ("MIN", "maximum", "Def")] == [0.0, 30.0, 5.0]
    with pytest.raises(ScpiError) as caught:
        span.read("30.1")
    assert caught.value.code == -222


def test_booleans():
    assert [read_boolean(text) for text in ("ON", "off", "1", "0", "0.4", "2")] == [
        True, False, True, False, False, True]
    with pytest.raises(ScpiError):
        read_boolean("MAYBE")


def test_words_in_short_and_long_form_only():
    assert read_word("swapped", ("NORMal", "SWAPped")) == "SWAP"
    with pytest.raises(ScpiError, match="-224"):
        read_word("SWAPPE", ("NORMal", "SWAPped"))


def test_channel_lists():
    assert read_channels("(@1:3)", 3) == (1, 2, 3)
    assert read_channels("(@ 2,1 )", 3) == (2, 1)


@pytest.mark.parametrize(("text", "code"), [
    ("(@4)", -222), ("(@0)", -222), ("1", -104), ("(@)", -104), ("(@" + "9" * 5000 + ")", -104),
])
def test_what_is_no_channel_list(text, code):
    with pytest.raises(ScpiError) as caught:
        read_channels(text, 3)
    assert caught.value.code == code


def test_answers():
    assert [float(answer_number(x)) for x in (1.5, inf, -inf, nan)] == [1.5, 9.9e37, -9.9e37, 9.91e37]
    assert answer_block(b"\n" * 10) == b"#210" + b"\n" * 10
