"""Languages: each complete, each state sayable, numbers as people there write them."""

import string
import tomllib
from math import isfinite

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.screens.operator_view import SIGNS
from station.screens.words import DEFAULT, FOLDER, language_for, languages


def fields(text):
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


# What pages of the desk say, which may be English in every language.
DESK = ("desk", "tests", "files", "bench", "chart", "studies", "study", "limits", "evidence", "people", "auditor",
        "record", "trail", "any", "yes", "no", "verdict")


def of_the_panel():
    return {key for key in DEFAULT.texts if key.partition(".")[0] not in DESK or key.startswith("verdict.")}


@pytest.mark.parametrize("code", languages())
def test_every_language_says_all_of_the_panel_and_nothing_unknown(code):
    own = tomllib.loads((FOLDER / f"{code}.toml").read_text(encoding="utf-8"))
    assert of_the_panel() - own.keys() == set()
    assert own.keys() <= DEFAULT.texts.keys()
    for key, text in own.items():
        assert text.strip(), key
        assert fields(text) == fields(DEFAULT.texts[key]), key


@pytest.mark.parametrize("code", languages())
def test_every_state_of_the_line_has_words(code):
    for key in (*SIGNS, "closed", "no-link"):
        assert languages()[code].text(f"line.{key}.word").isupper()
        assert len(languages()[code].text(f"line.{key}.step").split()) <= 14


@pytest.mark.parametrize(("accepted", "code"), [("en-GB,en;q=0.9", "en"), ("xx,en;q=0.1", "en"), ("", None),
                                                ("\x00;;;,,,", None)])
def test_a_browser_is_answered_in_what_it_accepts(accepted, code):
    found = language_for("", accepted)
    assert (found and found.code) == code


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(2, 9))
@settings(deadline=None)
def test_numbers_keep_their_value_and_sign(value, digits):
    for words in languages().values():
        text = words.number(value, digits)
        if not isfinite(value):
            assert text == "–"
            continue
        plain = text.replace("\u2009", "").replace("\u2212", "-").replace(words.decimal, ".")
        assert float(plain) == float(f"{value:.{digits}g}") or "e" in f"{value:.{digits}g}"


def test_a_number_with_its_unit():
    assert DEFAULT.number(-1234567.0, 7, "V") == "\u22121\u2009234\u2009567\u00a0V"
    assert DEFAULT.number(9.995, 4, "V/krpm") == "9.995\u00a0V/krpm"
    assert DEFAULT.number(None) == "–"
