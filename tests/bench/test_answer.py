"""station.bench.answer: each way of reading an answer, and that a doubtful one is no value."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from station.bench.answer import AnswerForm
from station.bench.speech import Sentinels

OVER = Sentinels(over=("OL", ">*"), invalid=("----",))


@pytest.mark.parametrize(("form", "answer", "value"), [
    (AnswerForm(), "+1.5E0", 1.5),
    (AnswerForm(), '"1.5"', 1.5),
    (AnswerForm(suffix="MS", times=0.001), "500.0 MS", 0.5),
    (AnswerForm(suffix="OHM"), "12", 12.0),
    (AnswerForm(form="csv", part=2), "5.0,0.012", 0.012),
    (AnswerForm(form="csv"), "23.4,C", 23.4),
    (AnswerForm(form="bool"), "on", 1.0),
    (AnswerForm(form="bool"), "0", 0.0),
    (AnswerForm(form="map", map={"BUSY": 8.0, "READY": 0.0}), "BUSY", 8.0),
    (AnswerForm(inverse=True), "1E5", 1e-5),
    (AnswerForm(inverse=True, times=1000.0), "50", 2e-5),
    (AnswerForm(sentinels=OVER), "OL", math.inf),
    (AnswerForm(sentinels=OVER, times=1e6), ">9999", math.inf),
    (AnswerForm(times=1e6), "9.9E37", math.inf),
    (AnswerForm(times=1e-3), "-9.9E37", -math.inf),
])
def test_answers(form, answer, value):
    assert form.number(answer) == pytest.approx(value, rel=1e-12)


def test_no_value_stays_none():
    assert math.isnan(AnswerForm(form="csv", sentinels=OVER).number("----,C"))


@pytest.mark.parametrize(("form", "answer"), [
    (AnswerForm(), "12 V"),
    (AnswerForm(suffix="OHM"), "12 KOHM"),
    (AnswerForm(form="csv", part=3), "1,2"),
    (AnswerForm(form="csv"), ""),
    (AnswerForm(form="bool"), "2"),
    (AnswerForm(form="map", map={"BUSY": 8.0}), "READY"),
    (AnswerForm(inverse=True), "0"),
])
def test_doubtful_answers_are_no_value(form, answer):
    assert form.number(answer) is None


@given(st.floats(1e-9, 1e9), st.floats(1e-6, 1e6))
def test_the_inverse_of_the_inverse_is_the_value(number, times):
    direct = AnswerForm(times=times).number(repr(number))
    inverse = AnswerForm(times=times, inverse=True).number(repr(number))
    assume(direct)
    assert direct * inverse == pytest.approx(1.0, rel=1e-12)
