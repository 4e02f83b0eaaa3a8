"""Messages split into units, and the path that a header is read from."""

import pytest

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_parser import Path, split_message


def headers(message):
    path = Path()
    units = [path.read(text) for text in split_message(message)]
    return [unit.common or ":".join(level.mnemonic for level in unit.header) for unit in units]


@pytest.mark.parametrize(("message", "expected"), [
    ("MEAS:VOLT?;CURR?", ["MEAS:VOLT", "MEAS:CURR"]),
    ("MEAS:VOLT?;:CURR 1", ["MEAS:VOLT", "CURR"]),
    ("SOUR:VOLT 1;*OPC?;CURR 2", ["SOUR:VOLT", "*OPC", "SOUR:CURR"]),
    ("STAT:OPER:COND?;ENAB 1", ["STAT:OPER:COND", "STAT:OPER:ENAB"]),
    ("VOLT 1;CURR 2", ["VOLT", "CURR"]),
    (";;*idn?;\t ", ["*IDN"]),
])
def test_path_rule(message, expected):
    assert headers(message) == expected


def test_a_new_message_starts_at_the_root():
    assert headers("MEAS:VOLT?") + headers("CURR 1") == ["MEAS:VOLT", "CURR"]


def test_separators_inside_quotes_and_lists_do_not_split():
    units = list(split_message('TRAC? "A;B,C";ROUT:CLOS (@1,2)'))
    assert [Path().read(unit).arguments for unit in units] == [('"A;B,C"',), ("(@1,2)",)]


@pytest.mark.parametrize(("message", "code"), [('VOLT "5', -151), ("ROUT:CLOS (@1", -102)])
def test_what_is_left_open(message, code):
    with pytest.raises(ScpiError) as caught:
        list(split_message(message))
    assert caught.value.code == code


def test_an_empty_argument_is_missing():
    with pytest.raises(ScpiError, match="Missing parameter"):
        Path().read("FORM INT,")
